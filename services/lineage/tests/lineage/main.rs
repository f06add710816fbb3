//! The lot graph against paper, against petgraph and against a plain recomputation from a list of facts.

mod contact;
mod content;
mod dice;
mod facts;
mod loops;
mod order;
mod paper;
mod random;
mod said;
mod spread;
mod timeline;
