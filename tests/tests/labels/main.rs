//! Labels: what stands on them is read back from the picture and from the paper, by programs that are not ours; and they are
//! printed on a printer that is not ours either.

mod codes;
mod paper;
mod printer;
mod queue;
mod room;
mod samples;
mod served;
mod tools;
