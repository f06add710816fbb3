//! Types and rules of the trade. Pure: decides, and reads and writes nothing.

pub mod alcohol;
pub mod allergens;
pub mod arrival;
pub mod cleans;
pub mod decimal;
pub mod doses;
pub mod gs1;
pub mod labels;
pub mod lockout;
pub mod lot_codes;
pub mod lot_number;
pub mod moving;
pub mod outside;
pub mod papers;
pub mod picks;
pub mod place;
pub mod quantity;
pub mod recall;
pub mod saying;
pub mod spirit;
pub mod text;
pub mod using;
pub mod webhooks;
pub mod work_order;
