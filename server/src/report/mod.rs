//! What people read: records put together for a question.

pub mod climate;
pub mod encounters;
pub mod enrichment;
mod evidence;
pub mod feeding;
pub mod growth;
pub mod packet;
pub mod replay;
pub mod site_day;
pub mod standard;
pub mod standing;
pub mod stock_entries;
pub mod stock_return;
pub mod welfare;
