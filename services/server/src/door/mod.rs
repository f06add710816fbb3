//! The door: who may come in, and who asks.

pub mod keys;
mod signed_in;
pub mod tokens;

use chrono::{DateTime, Utc};
use tubtrail_operations::devices::TOKEN_PREFIX;
use tubtrail_operations::sessions::Welcome;
use tubtrail_operations::{Actor, OperationError, Tubtrail, problems};

pub use keys::Keys;
pub use signed_in::{SignedIn, guard, request_id};
use tokens::Refused;

use crate::problem::Problem;

/// What tells who someone is.
pub struct Door {
    /// What sessions are signed with.
    pub keys: Keys,
    /// How long a session lasts.
    pub session_minutes: u32,
}

impl Door {
    /// Who a bearer token stands for, today. Blocks.
    pub fn identify(&self, tubtrail: &Tubtrail, bearer: &str) -> Result<Actor, OperationError> {
        if bearer.starts_with(TOKEN_PREFIX) {
            return tubtrail.device_of_token(bearer);
        }
        match tokens::verify(&self.keys, bearer) {
            Ok(claims) => tubtrail.user_of_session(&claims.sub, &claims.mark),
            Err(Refused::Over) => Err(OperationError::new(&problems::SESSION_OVER, problems::SESSION_OVER.title)),
            Err(Refused::NotOurs) => {
                Err(OperationError::new(&problems::NOT_SIGNED_IN, "this token is not one of ours; sign in"))
            }
        }
    }

    /// A session for someone who gave the right password, and until when it lasts.
    pub fn let_in(&self, welcome: &Welcome) -> Result<(String, DateTime<Utc>), Problem> {
        let (token, until) = tokens::issue(&self.keys, &welcome.login, &welcome.mark, self.session_minutes)
            .map_err(|error| Problem::internal(&error))?;
        let until = i64::try_from(until).ok().and_then(|until| DateTime::from_timestamp(until, 0));
        Ok((token, until.ok_or_else(|| Problem::internal(&"the end of a session is no time"))?))
    }
}
