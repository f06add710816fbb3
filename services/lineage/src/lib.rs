//! The lot graph of a gelato maker, in memory.
//!
//! A *lot* (of milk, of base, a tub) was either received or made by one *batch*. A batch takes masses of lots, each
//! taking being a *use*, and yields lots. From these facts [`Graph`] answers the questions of a recall: which lots
//! hold any of a suspect lot ([`Graph::forward`]), how many milligrams of it ([`Graph::shares`]), what a tub was made
//! from ([`Graph::backward`], [`Graph::origins`]), and by which chain one lot got into another ([`Graph::path`]).
//!
//! The crate knows nothing of time, names or storage. Facts may arrive in any order: a use can be written down long
//! after the batch it went into was finished. The one thing the graph never accepts is a lot that would contain itself.
//!
//! Masses are whole milligrams (`i64`, never negative); shares are milligrams as `f64`, because dividing a batch among
//! its tubs seldom comes out whole.
//!
//! ```
//! use tubtrail_lineage::{Graph, Scratch};
//!
//! let mut graph = Graph::new();
//! let milk = graph.add_received_lot(8_000_000);
//! let churn = graph.add_batch();
//! graph.add_use(milk, churn, 4_000_000)?;
//! let tub = graph.add_made_lot(churn, 3_900_000);
//!
//! let mut scratch = Scratch::new();
//! assert_eq!(graph.forward(&mut scratch, &[milk]), [milk, tub]);
//! assert!(graph.add_use(tub, churn, 100_000).is_err(), "a tub cannot go into the batch that yielded it");
//! # Ok::<(), tubtrail_lineage::Loop>(())
//! ```

mod adjacency;
mod bits;
mod contact;
mod content;
mod error;
mod evidence;
mod graph;
mod index;
mod looping;
mod reach;
mod ripple;
mod scratch;
mod share;
mod timeline;
mod trace;

pub use contact::Contact;
pub use content::{Answer, Changed, Content};
pub use error::{Loop, NoSuchUse};
pub use evidence::{Evidence, Node, Source};
pub use graph::Graph;
pub use index::{BatchIx, LotIx};
pub use reach::Reach;
pub use scratch::Scratch;
pub use share::{Balance, Share};
pub use timeline::{Clean, ContactChange, Run, Timeline};
pub use trace::Step;
