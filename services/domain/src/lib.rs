//! Types and rules of the trade. Pure: decides, and reads and writes nothing.

pub mod arrival;
pub mod decimal;
pub mod gs1;
pub mod lockout;
pub mod lot_number;
pub mod moving;
pub mod picks;
pub mod place;
pub mod quantity;
pub mod spirit;
pub mod text;
pub mod using;
