//! Stock: what is where.
