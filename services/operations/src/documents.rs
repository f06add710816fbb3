//! Documents: photos and papers that came with a delivery, kept as they were sent.

use serde::{Deserialize, Serialize};
use tubtrail_domain::papers::{Paper, PaperError};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::documents::{self as stored, DeliveryDocumentRow, document, documents_of};
use utoipa::ToSchema;

use crate::deliveries;
use crate::error::{OperationError, Result};
use crate::fields;
use crate::problems;
use crate::reach::{self, Actor, Operation, Request};
use crate::tubtrail::{Answered, Tubtrail};

/// Most documents of one delivery.
const MOST_OF_A_DELIVERY: usize = 10;

/// A photo or a paper that came with a delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"document": 8020, "delivery": 311, "name": "delivery-note.jpg", "media_type": "image/jpeg",
    "bytes": 1_834_201, "width": 3024, "height": 4032,
    "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "entry": 7991}))]
pub struct DeliveryDocument {
    /// Its number.
    pub document: i64,
    /// The number of the delivery.
    pub delivery: i64,
    /// What it is called.
    pub name: String,
    /// What it is, by its bytes: image/jpeg, image/png, image/webp or application/pdf.
    pub media_type: String,
    /// How large it is, in bytes.
    pub bytes: i64,
    /// How wide a picture is, in dots.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<i32>,
    /// How high a picture is, in dots.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height: Option<i32>,
    /// SHA-256 of the file, hex.
    pub sha256: String,
    /// The journal entry that brought it.
    pub entry: i64,
}

impl DeliveryDocument {
    /// Whether it is a picture, which can be looked at where it stands.
    pub const fn is_picture(&self) -> bool {
        self.width.is_some()
    }
}

/// All that came with a delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"delivery": 311, "documents": [{"document": 8020, "delivery": 311, "name": "delivery-note.jpg",
    "media_type": "image/jpeg", "bytes": 1_834_201, "width": 3024, "height": 4032,
    "sha256": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", "entry": 7991}]}))]
pub struct DeliveryDocuments {
    /// The number of the delivery.
    pub delivery: i64,
    /// In the order in which they were attached.
    pub documents: Vec<DeliveryDocument>,
}

impl Tubtrail {
    /// Keeps a photo or a paper with a delivery: what it is, is known by its bytes alone. The same file twice is kept once.
    pub fn attach_document(
        &self,
        request: &Request,
        delivery: i64,
        name: String,
        file: Vec<u8>,
    ) -> Result<Answered<DeliveryDocument>> {
        let actor = request.actor.clone();
        self.write(request, &reach::ATTACH_DOCUMENT, move |tx| {
            let delivery = deliveries::addressed(tx.conn()?, &actor, &reach::ATTACH_DOCUMENT, delivery)?;
            let name = fields::name("name", &name)?;
            let paper = Paper::of(&file).map_err(|error| not_kept(&error))?;
            let sha256 = stored::sha256(&file);
            let before = documents_of(tx.conn()?, delivery.id)?;
            if let Some(same) = before.iter().find(|row| row.sha256 == sha256) {
                let detail = say!("this is already kept with the delivery, as {same}", same = Quoted(&same.name));
                return Err(OperationError::new(&problems::REPEATED, detail).at("file"));
            }
            if before.len() >= MOST_OF_A_DELIVERY {
                let detail =
                    say!("at most {most} photos and papers are kept with a delivery", most = MOST_OF_A_DELIVERY);
                return Err(OperationError::invalid("file", detail));
            }
            tx.at_site(delivery.site_id);
            let row = DeliveryDocumentRow {
                id: tx.id(),
                entry: tx.entry(),
                delivery_id: delivery.id,
                name,
                media_type: paper.kind.media_type().to_owned(),
                size_bytes: i64::try_from(file.len()).unwrap_or(i64::MAX),
                width: paper.dots.map(|(width, _)| width),
                height: paper.dots.map(|(_, height)| height),
                sha256,
            };
            tx.record(&row)?;
            stored::keep(tx, row.id, &file)?;
            Ok(answer(row))
        })
    }

    /// What came with a delivery, without the files themselves.
    pub fn list_documents(&self, request: &Request, delivery: i64) -> Result<DeliveryDocuments> {
        self.read_at_once(|conn| {
            let row = deliveries::addressed(conn, &request.actor, &reach::LIST_DOCUMENTS, delivery)?;
            let documents = documents_of(conn, row.id)?.into_iter().map(answer).collect();
            Ok(DeliveryDocuments { delivery, documents })
        })
    }

    /// A photo or a paper, and its file as it was sent.
    pub fn show_document(&self, request: &Request, id: i64) -> Result<(DeliveryDocument, Vec<u8>)> {
        self.read_at_once(|conn| {
            let row = addressed(conn, &request.actor, &reach::SHOW_DOCUMENT, id)?;
            let file = stored::file(conn, &row)?;
            Ok((answer(row), file))
        })
    }
}

fn not_kept(error: &PaperError) -> OperationError {
    let problem = if *error == PaperError::TooLarge { &problems::TOO_LARGE } else { &problems::INVALID };
    OperationError::new(problem, error.saying()).at("file")
}

/// The document a request's address names, for someone who may do this to it.
fn addressed(conn: &mut AnyConnection, actor: &Actor, operation: &Operation, id: i64) -> Result<DeliveryDocumentRow> {
    let not_found = || OperationError::not_found(say!("document"), id);
    let row = document(conn, id)?.ok_or_else(not_found)?;
    let of = deliveries::addressed(conn, actor, operation, row.delivery_id);
    of.map_err(|error| error.if_not_found(not_found))?;
    Ok(row)
}

fn answer(row: DeliveryDocumentRow) -> DeliveryDocument {
    DeliveryDocument {
        document: row.id,
        delivery: row.delivery_id,
        name: row.name,
        media_type: row.media_type,
        bytes: row.size_bytes,
        width: row.width,
        height: row.height,
        sha256: row.sha256,
        entry: row.entry,
    }
}
