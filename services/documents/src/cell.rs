//! How a cell is written.
