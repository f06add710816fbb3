//! Recomputes what can be recomputed, and compares.
