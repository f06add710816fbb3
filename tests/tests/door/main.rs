//! The door.
