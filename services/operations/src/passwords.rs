//! Passwords: hashed with Argon2id, and only a few at a time, for each takes memory and time on purpose.

use argon2::Argon2;
use argon2::password_hash::{self, PasswordHasher, PasswordVerifier};
use parking_lot::{Condvar, Mutex};
use serde::de::{Unexpected, Visitor};
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_storage::StorageError;
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::problems;

/// Shortest password, in characters.
const SHORTEST: usize = 12;
/// Longest password, in characters.
const LONGEST: usize = 128;
/// Hashes at work at once.
const AT_WORK: usize = 2;
/// Most that wait for their turn; more are told to come back.
const WAITING: usize = 16;

/// What is checked where there is no such person, so that it takes as long: the hash of nothing anybody knows.
const NOBODYS: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5cyBzYWx0IQ$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// A password as a person types it. It is never answered, and never shown by `{:?}`.
#[derive(Clone, PartialEq, Eq, ToSchema)]
#[schema(value_type = String, format = Password, max_length = 128)]
pub struct Password(pub String);

impl std::fmt::Debug for Password {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Password(...)")
    }
}

/// It is sent and never answered; where a request is written down, this stands for it.
impl Serialize for Password {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.serialize_str("...")
    }
}

/// By hand, so that no error quotes what was sent: a password of digits alone may well be sent as a number.
impl<'de> Deserialize<'de> for Password {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> std::result::Result<Self, D::Error> {
        deserializer.deserialize_any(Typed)
    }
}

struct Typed;

macro_rules! untold {
    ($($visit:ident $kind:ty;)*) => { $(
        fn $visit<E: serde::de::Error>(self, _: $kind) -> std::result::Result<Password, E> {
            Err(E::invalid_type(Unexpected::Other("something else"), &self))
        }
    )* };
}

impl Visitor<'_> for Typed {
    type Value = Password;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a password as text")
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> std::result::Result<Password, E> {
        Ok(Password(text.to_owned()))
    }

    fn visit_string<E: serde::de::Error>(self, text: String) -> std::result::Result<Password, E> {
        Ok(Password(text))
    }

    untold! {
        visit_bool bool;
        visit_i64 i64;
        visit_i128 i128;
        visit_u64 u64;
        visit_u128 u128;
        visit_f64 f64;
        visit_bytes &[u8];
    }
}

/// Hashes and checks, a few at a time.
#[derive(Default)]
pub struct Passwords {
    queue: Mutex<Queue>,
    freed: Condvar,
}

#[derive(Default)]
struct Queue {
    at_work: usize,
    waiting: usize,
}

impl Passwords {
    /// The hash of a new password, as PHC text; refuses one that is too short or too long. Argon2id with 19 MiB, two
    /// passes, one lane, as the OWASP Password Storage Cheat Sheet asks.
    pub fn hash(&self, field: &str, password: &Password) -> Result<String> {
        let length = password.0.chars().count();
        if !(SHORTEST..=LONGEST).contains(&length) {
            let detail = say!("a password has {least} to {most} characters", least = SHORTEST, most = LONGEST);
            return Err(OperationError::invalid(field, detail));
        }
        let _turn = self.turn()?;
        let hash = Argon2::default().hash_password(password.0.as_bytes());
        Ok(hash.map_err(|error| broken(&error))?.to_string())
    }

    /// Whether a password is the one that was hashed; without a hash it takes as long, and is not.
    pub fn check(&self, password: &Password, hash: Option<&str>) -> Result<bool> {
        let _turn = self.turn()?;
        // What cannot be anybody's password need not be hashed at length; its length is no secret to who sent it.
        let typed = if password.0.len() > 4 * LONGEST { "" } else { &password.0 };
        match Argon2::default().verify_password(typed.as_bytes(), hash.unwrap_or(NOBODYS)) {
            Ok(()) => Ok(hash.is_some()),
            Err(password_hash::Error::PasswordInvalid) => Ok(false),
            Err(error) => Err(broken(&error)),
        }
    }

    fn turn(&self) -> Result<Turn<'_>> {
        let mut queue = self.queue.lock();
        if queue.at_work >= AT_WORK {
            if queue.waiting >= WAITING {
                let detail = say!("too many people are coming in at once; try again in a moment");
                return Err(OperationError::new(&problems::BUSY, detail));
            }
            queue.waiting += 1;
            self.freed.wait_while(&mut queue, |queue| queue.at_work >= AT_WORK);
            queue.waiting -= 1;
        }
        queue.at_work += 1;
        Ok(Turn(self))
    }
}

struct Turn<'a>(&'a Passwords);

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        self.0.queue.lock().at_work -= 1;
        self.0.freed.notify_one();
    }
}

fn broken(error: &password_hash::Error) -> OperationError {
    StorageError::Corrupt(format!("a password's hash: {error}")).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_password_that_was_hashed_is_right() {
        let passwords = Passwords::default();
        let right = Password("twelve or so".into());
        let hash = passwords.hash("password", &right).expect("twelve characters");
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert!(passwords.check(&right, Some(&hash)).expect("it can be checked"));
        assert!(!passwords.check(&Password("twelve or sO".into()), Some(&hash)).expect("it can be checked"));
        assert!(!passwords.check(&right, None).expect("nobody's hash can be checked"));
    }

    #[test]
    fn a_password_has_its_length_counted_in_characters() {
        let passwords = Passwords::default();
        for wrong in ["x".repeat(11), "ß".repeat(129)] {
            let error = passwords.hash("password", &Password(wrong)).expect_err("its length is wrong");
            assert_eq!((error.problem.word, error.field.as_deref()), ("invalid", Some("password")));
        }
        passwords.hash("password", &Password("ß".repeat(128))).expect("128 characters");
    }

    #[test]
    fn a_password_is_never_shown() {
        let password = Password("do not show me".into());
        assert!(!format!("{password:?}").contains("show"));
        assert_eq!(serde_json::to_string(&password).expect("it has a form"), "\"...\"");
        assert_eq!(serde_json::from_str::<Password>("\"caf\\u00e9\"").expect("text"), Password("café".into()));
        for sent in ["271828182845", "-271828182845", "2718.2845", "271828182845271828182845", "true"] {
            let error = serde_json::from_str::<Password>(sent).expect_err("it is no text").to_string();
            assert!(error.contains("expected a password as text") && !error.contains(sent), "{error}");
        }
        for sent in ["[\"open sesame\"]", "{\"open sesame\": 1}", "\"open sesame", "null"] {
            let error = serde_json::from_str::<Password>(sent).expect_err("it is no text").to_string();
            assert!(!error.contains("sesame"), "{error}");
        }
    }
}
