//! Traces: every lot that holds another, and every lot in one.
