//! The journal, as it is read.
