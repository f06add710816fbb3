//! The door, over HTTP: who comes in, what every answer owes, and how the program is started and stopped.

mod description;
mod http;
mod nul;
mod sessions;
mod settings;
mod stopping;
mod tokens;
mod walk;
