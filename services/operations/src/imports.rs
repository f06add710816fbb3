//! Imports of master data from CSV files.
