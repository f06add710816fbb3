//! Counts: what was really found on the shelf.
