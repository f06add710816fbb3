//! A form with files, from somebody who is signed in: read piece by piece, and no more of it kept than may be.

use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use actix_multipart::{Field, Multipart};
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use futures_util::StreamExt as _;
use tubtrail_domain::papers::LARGEST_BYTES;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::{OperationError, problems};

use super::fields::Fields;
use super::page::Unable;
use super::visitor::{Sent, Visitor};

/// Most files of one form.
const MOST_FILES: usize = 4;
/// Most of a form that is read at all, in bytes; what is too large for one file is read to its end, so that the browser
/// hears why.
const MOST_READ: usize = 64 * 1024 * 1024;
/// Most of a field that is no file, in bytes.
const MOST_OF_A_FIELD: usize = 4096;
/// How long a form may take to arrive.
const PATIENCE: Duration = Duration::from_mins(3);

/// What a form with files sent.
pub struct SentFiles {
    /// Who, and the fields that are no files.
    pub sent: Sent,
    /// The files, as far as one may be large and one byte beyond.
    pub files: Vec<SentFile>,
}

/// A file.
pub struct SentFile {
    /// What it is called in the telephone or computer it came from.
    pub name: String,
    /// What is in it.
    pub bytes: Vec<u8>,
}

impl FromRequest for SentFiles {
    type Error = Unable;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Unable>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (request, payload) = (request.clone(), payload.take());
        Box::pin(async move {
            let visitor = Visitor::of_ours(&request).await?;
            let parts = Multipart::new(request.headers(), payload);
            let read = tokio::time::timeout(PATIENCE, read(parts, &visitor)).await;
            let (fields, files) = read
                .unwrap_or_else(|_| Err(malformed(say!("the form did not arrive in time"))))
                .map_err(|error| Unable::problem(&request, error.into()))?;
            Ok(Self { sent: Sent { visitor, fields }, files })
        })
    }
}

async fn read(mut parts: Multipart, visitor: &Visitor) -> Result<(Fields, Vec<SentFile>), OperationError> {
    let (mut fields, mut files, mut left) = (Fields::default(), Vec::new(), MOST_READ);
    while let Some(part) = parts.next().await {
        let mut part = part.map_err(|_| malformed(say!("the form could not be read")))?;
        let name = part.name().unwrap_or_default().to_owned();
        let file = part.content_disposition().and_then(|said| said.get_filename()).map(str::to_owned);
        let Some(file) = file else {
            let bytes = collect(&mut part, MOST_OF_A_FIELD, &mut left).await?;
            fields.add(name, String::from_utf8_lossy(&bytes).into_owned());
            continue;
        };
        // The mark stands before the files: a stranger's are not so much as looked at.
        visitor.expect_mark(&fields)?;
        let bytes = collect(&mut part, LARGEST_BYTES + 1, &mut left).await?;
        // A field for files into which nothing was put sends an empty one without a name.
        if !bytes.is_empty() || !file.is_empty() {
            files.push(SentFile { name: file, bytes });
        }
        if files.len() > MOST_FILES {
            return Err(malformed(say!("these are too many files at a time: at most 4")));
        }
    }
    visitor.expect_mark(&fields)?;
    Ok((fields, files))
}

/// Reads a part to its end, and keeps no more than so much of it.
async fn collect(part: &mut Field, most: usize, left: &mut usize) -> Result<Vec<u8>, OperationError> {
    let mut bytes = Vec::new();
    while let Some(piece) = part.next().await {
        let piece = piece.map_err(|_| malformed(say!("the form could not be read")))?;
        let too_much = || OperationError::new(&problems::TOO_LARGE, say!("this is more than a form may hold"));
        *left = left.checked_sub(piece.len()).ok_or_else(too_much)?;
        bytes.extend_from_slice(&piece[..piece.len().min(most - bytes.len())]);
    }
    Ok(bytes)
}

fn malformed(detail: Saying) -> OperationError {
    OperationError::new(&problems::MALFORMED, detail)
}
