//! What deliveries are signed with, and how (Standard Webhooks 1.0.0, "Signature scheme").
//!
//! A secret is not stored: it is made, whenever it is needed, of a random number in the database and a key that lies with the
//! keys of the house. Who reads the database alone can sign nothing.

use base64::Engine as _;
use base64::engine::general_purpose::{STANDARD, URL_SAFE_NO_PAD};
use chrono::{Duration, NaiveDateTime};
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;
use tubtrail_domain::say;
use tubtrail_storage::search::authors;
use tubtrail_storage::webhooks::{WebhookSecretRow, secrets_of};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};

use super::Outgoing;
use crate::error::{OperationError, Result};
use crate::{digest, problems, random};

/// What every secret begins with.
const PREFIX: &str = "whsec_";
/// Random bytes that go into a secret.
const NONCE_BYTES: usize = 24;
/// Characters of a secret's SHA-256 that are kept.
const FINGERPRINT: usize = 16;

/// How long a secret goes on signing beside the one that followed it.
const OVERLAP: Duration = Duration::hours(24);

/// The key of the house that secrets are made with.
pub type Key = [u8; 32];

/// All that a new secret is made of.
pub struct Recipe {
    key: Key,
    nonce: String,
}

impl Recipe {
    /// A fresh one.
    pub fn new(outgoing: &Outgoing) -> Result<Self> {
        let no_key =
            || OperationError::new(&problems::NO_WEBHOOK_KEY, say!("the folder of the keys cannot be written to"));
        let key = outgoing.key.ok_or_else(no_key)?;
        Ok(Self { key, nonce: URL_SAFE_NO_PAD.encode(random::bytes::<NONCE_BYTES>()?) })
    }

    /// Writes down what it is made of; answers the secret as the other side takes it.
    pub fn record(&self, tx: &mut WriteTx<'_>, webhook_id: i64, at_once: bool) -> Result<String> {
        let secret = make(&self.key, &self.nonce)?;
        let (id, entry) = (tx.id(), tx.entry());
        let (nonce, fingerprint) = (self.nonce.clone(), fingerprint(&secret));
        tx.record(&WebhookSecretRow { id, entry, webhook_id, nonce, fingerprint, at_once })?;
        Ok(format!("{PREFIX}{}", STANDARD.encode(secret)))
    }
}

/// HMAC-SHA256 (RFC 2104), which takes a key of any length.
fn authenticate(key: &[u8], text: &[u8]) -> Result<[u8; 32]> {
    let unusable = |_| StorageError::Corrupt("a key of an impossible length".into());
    let mac = Hmac::<Sha256>::new_from_slice(key).map_err(unusable)?;
    Ok(mac.chain_update(text).finalize().into_bytes().into())
}

fn make(key: &Key, nonce: &str) -> Result<[u8; 32]> {
    authenticate(key, format!("webhook secret {nonce}").as_bytes())
}

fn fingerprint(secret: &[u8]) -> String {
    digest::sha256_hex(secret)[..FINGERPRINT].to_owned()
}

/// The secrets that sign at a time, the newest first; `None` where they cannot be made again, because the key is another.
pub fn in_force(
    conn: &mut AnyConnection,
    outgoing: &Outgoing,
    webhook_id: i64,
    now: NaiveDateTime,
) -> Result<Option<Vec<[u8; 32]>>> {
    let Some(key) = &outgoing.key else { return Ok(None) };
    let rows = secrets_of(conn, webhook_id)?;
    let written = authors(conn, &rows.iter().map(|row| row.entry).collect::<Vec<_>>())?;
    let mut secrets = Vec::new();
    for row in rows {
        let secret = make(key, &row.nonce)?;
        if fingerprint(&secret) != row.fingerprint {
            return Ok(if secrets.is_empty() { None } else { Some(secrets) });
        }
        secrets.push(secret);
        let missing = || StorageError::Corrupt(format!("webhook_secrets row {}: its journal entry", row.id));
        let (_, since) = written.get(&row.entry).ok_or_else(missing)?;
        if row.at_once || now - *since >= OVERLAP {
            break;
        }
    }
    Ok(Some(secrets))
}

/// The signatures of a message by each secret, as its header `webhook-signature` has them.
pub fn sign(secrets: &[[u8; 32]], message_id: &str, timestamp: i64, body: &str) -> Result<String> {
    let text = format!("{message_id}.{timestamp}.{body}");
    let signed = |secret: &[u8; 32]| Ok(format!("v1,{}", STANDARD.encode(authenticate(secret, text.as_bytes())?)));
    Ok(secrets.iter().map(signed).collect::<Result<Vec<_>>>()?.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4231, test case 2.
    #[test]
    fn the_code_is_the_one_of_the_standard() {
        let code = authenticate(b"Jefe", b"what do ya want for nothing?").expect("a code");
        let due = [
            0x5b, 0xdc, 0xc1, 0x46, 0xbf, 0x60, 0x75, 0x4e, 0x6a, 0x04, 0x24, 0x26, 0x08, 0x95, 0x75, 0xc7, 0x5a, 0x00,
            0x3f, 0x08, 0x9d, 0x27, 0x39, 0x83, 0x9d, 0xec, 0x58, 0xb9, 0x64, 0xec, 0x38, 0x43,
        ];
        assert_eq!(code, due);
    }

    #[test]
    fn each_secret_signs() {
        let signed = sign(&[[1; 32], [2; 32]], "msg_7", 1_614_265_330, "{}").expect("signatures");
        let parts: Vec<_> = signed.split(' ').collect();
        assert_eq!(parts.len(), 2);
        assert_ne!(parts[0], parts[1]);
        assert!(parts.iter().all(|part| part.starts_with("v1,")));
    }
}
