//! Labels: what stands on one, by what really went in and by the law of the place. Words and figures; how they are set
//! and printed is not decided here.
//!
//! The words are English. Law changes and differs by place: every rule names its source, and the authority on the spot
//! and the responsible person have the last word. Nothing here says what is not in a food: what nobody recorded is
//! unknown, and a label with something unknown in it is refused, or says so.

mod composition;
mod dates;
mod entries;
mod gathering;
mod letters;
mod list_wording;
mod names;
mod net_quantity;
mod unknown;
mod went_in;
mod wording;

pub use composition::{Composition, LabelAsked, compose};
pub use dates::{DateKind, DateRefused, DateWording, date_wording};
pub use gathering::gathered;
pub use letters::{least_figure_height, least_letter_height};
pub use net_quantity::net_quantity;
pub use unknown::{Despite, LabelField, LabelRefusal, Unknown};
pub use went_in::{Inside, ListOnLabel, Shown, WentIn};
pub use wording::{Span, Tone, Wording};
