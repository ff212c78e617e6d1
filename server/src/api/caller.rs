//! Opens a call: who it is from, and what it says.

use crate::access::permit::Caller;
use crate::api::status;
use crate::records::people;
use tonic::{Request, Status};

/// The caller, whom the shield has put to the request, and the message.
///
/// # Errors
/// Refused where the shield let the call in without a caller, for the methods that need none.
pub fn open<T>(request: Request<T>) -> Result<(Caller, T), Status> {
    let (_, mut extensions, message) = request.into_parts();
    match extensions.remove::<Caller>() {
        Some(caller) => Ok((caller, message)),
        None => Err(status::refused(people::not_signed_in())),
    }
}
