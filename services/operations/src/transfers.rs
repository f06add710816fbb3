//! Transfers: stock sent from a site to another.
