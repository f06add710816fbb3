//! Sessions: people come in with a password.
