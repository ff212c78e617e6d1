//! The command line as a contract: what can be typed, what is printed in each form, how it ends.

mod examples;
mod forms;
mod help;
mod looks;
mod reach;
mod refusals;
mod rounds;
mod scene;
mod settings;
mod sign_in;
mod tls;
mod transfers;
