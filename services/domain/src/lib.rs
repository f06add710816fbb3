//! .
pub mod decimal;
pub mod lot_number;
pub mod quantity;
pub mod spirit;
pub mod place;
