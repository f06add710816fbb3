//! Tubs: opened, served from, emptied; and what else takes stock off the shelf.
