//! Photos and papers that came with a delivery. What is said of a file is a fact; the file itself lies beside it in pieces, and
//! must have the hash that the fact names.

use diesel::prelude::*;
use sha2::{Digest, Sha256};

use crate::audit::Wrong;
use crate::fact::Fact;
use crate::write::hex;
use crate::{AnyConnection, StorageError, WriteTx};

/// The table of the pieces.
pub const PIECES: &str = "document_pieces";
/// Largest piece, in bytes.
const PIECE: usize = 256 * 1024;
/// Rows read at a time.
const PAGE: i64 = 500;

fact! {
    /// A photo or a paper that came with a delivery.
    delivery_documents => DeliveryDocumentRow {
        /// With which delivery.
        delivery_id: i64 => BigInt,
        /// What it is called.
        name: String => Text,
        /// What its bytes are.
        media_type: String => Text,
        /// Of the file, in bytes.
        size_bytes: i64 => BigInt,
        /// Of a picture, in dots.
        width: Option<i32> => Nullable<Integer>,
        /// Of a picture, in dots.
        height: Option<i32> => Nullable<Integer>,
        /// SHA-256 of the file, hex.
        sha256: String => Text,
    }
}

diesel::table! {
    document_pieces (document_id, number) {
        document_id -> BigInt,
        number -> Integer,
        bytes -> Binary,
    }
}

#[derive(Insertable)]
#[diesel(table_name = document_pieces)]
struct PieceRow {
    document_id: i64,
    number: i32,
    bytes: Vec<u8>,
}

/// The hash under which a file is kept: SHA-256, hex.
pub fn sha256(file: &[u8]) -> String {
    hex(&Sha256::digest(file))
}

/// Keeps the file of a document that was just recorded.
pub fn keep(tx: &mut WriteTx<'_>, document_id: i64, file: &[u8]) -> Result<(), StorageError> {
    for (piece, number) in file.chunks(PIECE).zip(1..) {
        let row = PieceRow { document_id, number, bytes: piece.to_vec() };
        diesel::insert_into(document_pieces::table).values(&row).execute(tx.conn()?)?;
    }
    Ok(())
}

/// A document by row id.
pub fn document(conn: &mut AnyConnection, id: i64) -> Result<Option<DeliveryDocumentRow>, StorageError> {
    Ok(delivery_documents::table.find(id).first(conn).optional()?)
}

/// The documents of a delivery, in the order in which they came.
pub fn documents_of(conn: &mut AnyConnection, delivery: i64) -> Result<Vec<DeliveryDocumentRow>, StorageError> {
    let of_it = delivery_documents::table.filter(delivery_documents::delivery_id.eq(delivery));
    Ok(of_it.order(delivery_documents::id).load(conn)?)
}

/// The file of a document, as it was sent.
pub fn file(conn: &mut AnyConnection, document: &DeliveryDocumentRow) -> Result<Vec<u8>, StorageError> {
    let file = pieces(conn, document.id)?.concat();
    if sha256(&file) == document.sha256 {
        return Ok(file);
    }
    Err(StorageError::Corrupt(format!("document {}: its file is not what was sent", document.id)))
}

fn pieces(conn: &mut AnyConnection, document_id: i64) -> Result<Vec<Vec<u8>>, StorageError> {
    let of_it = document_pieces::table.filter(document_pieces::document_id.eq(document_id));
    Ok(of_it.order(document_pieces::number).select(document_pieces::bytes).load(conn)?)
}

/// The first document whose file is not what was sent.
pub(crate) fn check(conn: &mut AnyConnection) -> Result<Option<Wrong>, StorageError> {
    let mut from = 0;
    loop {
        let page = DeliveryDocumentRow::page(conn, from, PAGE)?;
        let Some(last) = page.last() else { return Ok(None) };
        from = last.id + 1;
        for row in page {
            if sha256(&pieces(conn, row.id)?.concat()) != row.sha256 {
                let what = "the file is not the one whose SHA-256 was written down".into();
                return Ok(Some(Wrong { table: PIECES.into(), row: row.id.to_string(), entry: Some(row.entry), what }));
            }
        }
    }
}
