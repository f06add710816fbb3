//! A session's token: a JWT that says who, until when, and nothing of what they may do.

use std::time::{SystemTime, UNIX_EPOCH};

use jsonwebtoken::{Algorithm, Header, Validation, decode, decode_header, encode};
use serde::{Deserialize, Serialize};

use super::keys::Keys;

/// The `typ` of our tokens: no other token, whoever signed it, is taken for one.
pub const TYPE: &str = "tubtrail-session+jwt";
/// Who gives them out, and for whom.
const OURSELVES: &str = "tubtrail";
/// How far the clocks of two instances may lie apart, in seconds.
const LEEWAY: u64 = 5;

/// What a token says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Claims {
    /// By whom it was given out.
    pub iss: String,
    /// For whom it is.
    pub aud: String,
    /// Whose session it is: a login.
    pub sub: String,
    /// Since when, in seconds since 1970.
    pub iat: u64,
    /// Until when, in seconds since 1970.
    pub exp: u64,
    /// Changes with the password.
    pub mark: String,
}

/// A token that was ours when it was looked at.
#[derive(Clone, Debug)]
pub struct Verified {
    /// What it says.
    pub claims: Claims,
    key_id: String,
}

impl Verified {
    /// Whether it still holds: its time is not over, and its key is still there.
    pub fn holds(&self, keys: &Keys) -> bool {
        now().is_ok_and(|now| now < self.claims.exp) && keys.holds(&self.key_id)
    }
}

/// Why a token is not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// It was one of ours, and its time is over.
    Over,
    /// It is none of ours, or was tampered with.
    NotOurs,
}

/// A token for a login, and until when it holds (seconds since 1970).
pub fn issue(keys: &Keys, login: &str, mark: &str, minutes: u32) -> Result<(String, u64), String> {
    let key = keys.newest();
    let iat = now()?;
    let exp = iat + u64::from(minutes) * 60;
    let header = Header { typ: Some(TYPE.into()), kid: Some(key.id.clone()), ..Header::new(Algorithm::EdDSA) };
    let claims =
        Claims { iss: OURSELVES.into(), aud: OURSELVES.into(), sub: login.into(), iat, exp, mark: mark.into() };
    let token = encode(&header, &claims, &key.signs).map_err(|error| error.to_string())?;
    Ok((token, exp))
}

/// What a token says, if it is ours and holds.
pub fn verify(keys: &Keys, token: &str) -> Result<Verified, Refused> {
    let header = decode_header(token).map_err(|_| Refused::NotOurs)?;
    if header.alg != Algorithm::EdDSA || header.typ.as_deref() != Some(TYPE) {
        return Err(Refused::NotOurs);
    }
    let key = header.kid.and_then(|id| keys.find(&id)).ok_or(Refused::NotOurs)?;
    let mut validation = Validation::new(Algorithm::EdDSA);
    validation.leeway = LEEWAY;
    validation.set_issuer(&[OURSELVES]);
    validation.set_audience(&[OURSELVES]);
    validation.set_required_spec_claims(&["exp", "iss", "aud", "sub"]);
    let claims = decode::<Claims>(token, &key.verifies, &validation).map_err(|error| match error.kind() {
        jsonwebtoken::errors::ErrorKind::ExpiredSignature => Refused::Over,
        _ => Refused::NotOurs,
    })?;
    let claims = claims.claims;
    let from_the_future = now().is_ok_and(|now| claims.iat > now + LEEWAY);
    if from_the_future { Err(Refused::NotOurs) } else { Ok(Verified { claims, key_id: key.id.clone() }) }
}

fn now() -> Result<u64, String> {
    SystemTime::now().duration_since(UNIX_EPOCH).map(|since| since.as_secs()).map_err(|error| error.to_string())
}
