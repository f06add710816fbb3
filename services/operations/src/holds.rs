//! Holds: lots that may not be used, moved, opened or served.
