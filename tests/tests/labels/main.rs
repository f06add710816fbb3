//! Labels: what stands on them is read back from the picture and from the paper, by programs that are not ours.

mod codes;
mod paper;
mod room;
mod samples;
mod tools;
