//! The lot graph against paper, against petgraph and against a plain recomputation from a list of facts.

mod dice;
mod facts;
mod loops;
mod order;
mod paper;
mod random;
