//! Documents, read back by other programs and libraries than those that wrote them.

mod allergen_sheet;
mod comma_separated;
mod pdf;
mod plain_text;
mod reading;
mod spreadsheet;
mod world;
