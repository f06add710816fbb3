//! SHA-256, as text.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

/// SHA-256, hex.
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().fold(String::with_capacity(64), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
