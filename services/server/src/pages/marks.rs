//! What tells one form from another, and a session's forms from a stranger's.

use sha2::{Digest, Sha256};

use crate::hex::hex;

/// A digest of some texts, each by itself.
pub fn digest(parts: &[&str]) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update(part.len().to_le_bytes());
        hash.update(part);
    }
    hex(&hash.finalize()[..16])
}

/// What tells a form from every other: sent twice, it is done once. Without random numbers it is empty, and the form is done as
/// often as it is sent.
pub fn once() -> String {
    let mut bytes = [0; 16];
    match getrandom::fill(&mut bytes) {
        Ok(()) => hex(&bytes),
        Err(error) => {
            tracing::error!(%error, "no random numbers");
            String::new()
        }
    }
}

/// A digest of some bytes.
pub fn digest_of(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes)[..16])
}
