//! Equipment: machines and vessels.
