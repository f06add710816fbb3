//! Batches: production runs, what went in and what came out.
