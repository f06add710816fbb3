//! The harness itself.
