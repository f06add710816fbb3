//! The lot graph of a gelato maker, in memory.
//!
//! A *lot* (of milk, of base, a tub) was either received or made by one *batch*. A batch takes masses of lots, each
//! taking being a *use*, and yields lots. From these facts [`Graph`] answers the questions of a recall: which lots
//! hold any of a suspect lot ([`Graph::forward`]), how many milligrams of it ([`Graph::shares`]), what a tub was made
//! from ([`Graph::backward`], [`Graph::origins`]), and by which chain one lot got into another ([`Graph::path`]).
//!
//! It also keeps what is said to be in each lot, one bit a substance: declared of the lots that were received, and
//! carried along by every use ([`Graph::content`]). Batches that met on a piece of equipment are joined by *contacts*
//! ([`Graph::add_contact`]), over which whatever one contains the other may contain; [`Timeline`] works these out from
//! what ran when and when it was cleaned. Why a lot is said to contain something ([`Graph::evidence`]), and what another
//! declaration would change ([`Graph::would_change`]), are questions of their own, and [`Reach`] keeps up with what a
//! recall reaches while the graph grows.
//!
//! Whoever has all the facts at once builds the graph from them in one go ([`Graph::of`]), which is many times faster than
//! adding one after the other, and comes to the same.
//!
//! The crate knows nothing of the hour, of names or storage, nor which bit is which substance. Facts may arrive in any
//! order: a use can be written down long after the batch it went into was finished. The one thing the graph never
//! accepts is a lot that would contain itself. That nothing is recorded of a substance is never to say that it is
//! absent.
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
//!
//! The hazelnut ran on the churn before the lemon, and nobody cleaned it:
//!
//! ```
//! use tubtrail_lineage::{Answer, Content, Graph, Reach, Run, Scratch, Source, Timeline};
//!
//! const HAZELNUT: u32 = 0;
//! const CHURN: u32 = 1;
//!
//! let mut graph = Graph::new();
//! let (paste, juice) = (graph.add_received_lot(500_000), graph.add_received_lot(900_000));
//! graph.declare_lot(paste, Content { contains: 1 << HAZELNUT, ..Content::NOTHING });
//! let (hazelnut, lemon) = (graph.add_batch(), graph.add_batch());
//! graph.add_use(paste, hazelnut, 500_000)?;
//! graph.add_use(juice, lemon, 900_000)?;
//! let tub = graph.add_made_lot(lemon, 900_000);
//! // Of the juice nobody has said anything yet.
//! assert_eq!(graph.content(tub).answer(HAZELNUT), Answer::Unknown);
//!
//! let mut churn = Timeline::default();
//! churn.add_run(Run { batch: hazelnut, from: 1_000, until: Some(2_000), id: 1 });
//! for change in churn.add_run(Run { batch: lemon, from: 3_000, until: None, id: 2 }) {
//!     graph.add_contact(change.before, change.after, change.carries, CHURN);
//! }
//! assert_eq!(graph.content(tub).answer(HAZELNUT), Answer::MayContain);
//! let why = graph.evidence(&mut Scratch::new(), tub, HAZELNUT, Answer::MayContain).expect("it may contain it");
//! assert_eq!(why.source, Source::Lot(paste));
//! assert!(Reach::of(&graph, &[paste], true).by_contact_only(tub));
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
mod proof;
mod reach;
mod ripple;
mod scratch;
mod share;
mod timeline;
mod trace;
mod whole;
mod yields;

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
pub use whole::{Use, Whole, WholeContact, WholeLots};
