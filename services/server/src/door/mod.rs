//! The door: who may come in, and who asks.

pub mod keys;
mod newest;
mod signed_in;
pub mod tokens;

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use parking_lot::RwLock;
use tubtrail_domain::say;
use tubtrail_operations::devices::TOKEN_PREFIX;
use tubtrail_operations::sessions::Welcome;
use tubtrail_operations::{Actor, OperationError, Tubtrail, problems};

pub use keys::Keys;
use newest::Newest;
pub use signed_in::{SignedIn, guard, request_id};
use tokens::{Refused, Verified};

use crate::problem::Problem;

/// Most tokens remembered; beyond it all are forgotten and checked anew.
const REMEMBERED: usize = 10_000;

/// What tells who someone is.
pub struct Door {
    /// What sessions are signed with.
    pub keys: Keys,
    session_minutes: u32,
    // Tokens that were ours: a signature never becomes wrong, so it is checked once.
    verified: RwLock<HashMap<String, Verified>>,
    newest: Newest,
}

impl Door {
    /// A door; sessions last so many minutes.
    pub fn new(keys: Keys, session_minutes: u32) -> Self {
        Self { keys, session_minutes, verified: RwLock::default(), newest: Newest::default() }
    }

    /// Who a bearer token stands for, as of a journal entry, if that is known without asking the database. Does not block.
    pub fn recognise(&self, tubtrail: &Tubtrail, bearer: &str, as_of: i64) -> Option<Actor> {
        if bearer.starts_with(TOKEN_PREFIX) {
            return tubtrail.device_at_hand(bearer, as_of);
        }
        let verified = self.verified.read();
        let verified = verified.get(bearer).filter(|verified| verified.holds(&self.keys))?;
        tubtrail.user_at_hand(&verified.claims.sub, &verified.claims.mark, as_of)
    }

    /// Who a bearer token stands for, today. Blocks.
    pub fn identify(&self, tubtrail: &Tubtrail, bearer: &str) -> Result<Actor, OperationError> {
        if bearer.starts_with(TOKEN_PREFIX) {
            return tubtrail.device_of_token(bearer);
        }
        let verified = tokens::verify(&self.keys, bearer).map_err(|refused| match refused {
            Refused::Over => OperationError::of(&problems::SESSION_OVER),
            Refused::NotOurs => {
                OperationError::new(&problems::NOT_SIGNED_IN, say!("this token is not one of ours; sign in"))
            }
        })?;
        let actor = tubtrail.user_of_session(&verified.claims.sub, &verified.claims.mark)?;
        let mut all = self.verified.write();
        if all.len() >= REMEMBERED {
            all.clear();
        }
        all.insert(bearer.to_owned(), verified);
        Ok(actor)
    }

    /// A session for someone who gave the right password, and until when it lasts.
    pub fn let_in(&self, welcome: &Welcome) -> Result<(String, DateTime<Utc>), Problem> {
        let (token, until) = tokens::issue(&self.keys, &welcome.login, &welcome.mark, self.session_minutes)
            .map_err(|error| Problem::internal(&error))?;
        let until = i64::try_from(until).ok().and_then(|until| DateTime::from_timestamp(until, 0));
        Ok((token, until.ok_or_else(|| Problem::internal(&"the end of a session is no time"))?))
    }
}
