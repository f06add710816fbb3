//! Users: people who may come in.
