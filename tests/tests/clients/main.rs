//! Programs that others write: clients generated from the description do a day's work, and a fuzzer of descriptions finds
//! nothing that the description does not say.

mod days;
mod fuzzed;
mod tools;
