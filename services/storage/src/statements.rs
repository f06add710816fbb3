//! Statements: what suppliers and the maker say is in an item, or in one lot of it.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::{AnyConnection, StorageError};

fact! {
    /// What is said to be in an item from a day on, or in a single lot.
    statements => StatementRow {
        /// Of what.
        item_id: i64 => BigInt,
        /// By which supplier, of what that supplier brings; none: by the maker.
        supplier_id: Option<i64> => Nullable<BigInt>,
        /// Of this lot alone.
        lot_id: Option<i64> => Nullable<BigInt>,
        /// Of lots that came to be on this day or later, where they came to be; none: of a single lot.
        in_force_from: Option<NaiveDate> => Nullable<Date>,
        /// The lists it answers to, comma-separated: eu, us, ca.
        lists: String => Text,
        /// Words of substances and groups, comma-separated.
        contains: String => Text,
        /// Words of substances and groups, comma-separated.
        may_contain: String => Text,
        /// As written by the person, milligrams of SO2 in a kilogram.
        sulphites_ppm: Option<String> => Nullable<Text>,
        /// As written by the person, per cent by volume.
        alcohol_percent_vol: Option<String> => Nullable<Text>,
        /// The paper it stands on.
        document: String => Text,
        /// Remarks.
        note: Option<String> => Nullable<Text>,
        /// The statement it stands in for; that one no longer counts.
        corrects_id: Option<i64> => Nullable<BigInt>,
        /// Why that one was wrong.
        reason: Option<String> => Nullable<Text>,
    }
}

fact! {
    /// How much protein of a substance is in what a statement speaks of.
    statement_proteins => StatementProteinRow {
        /// Which statement.
        statement_id: i64 => BigInt,
        /// The word of the substance.
        substance: String => Text,
        /// As written by the person: grams in a hundred.
        percent: String => Text,
    }
}

/// A statement by row id.
pub fn statement(conn: &mut AnyConnection, id: i64) -> Result<Option<StatementRow>, StorageError> {
    Ok(statements::table.find(id).first(conn).optional()?)
}
