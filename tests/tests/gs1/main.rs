//! GS1 codes made by chance, read back and held against two independent programs: bwip-js, which checks the rules, and
//! biip, which tells what is in a code. `tests/all` installs both under `tests/.work`.

mod corpus;
mod oracles;
mod round_trips;
mod verdicts;
