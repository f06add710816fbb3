//! Sending webhooks: the key that their secrets are made with, and the thread that sends.

mod key;
mod post;
mod sender;

pub use key::read_or_make;
pub use sender::Sender;
