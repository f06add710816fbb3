//! Discards: what is thrown away. Anything may be, whatever stands against it: a hold, its date, a rejection.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::WriteTx;
use tubtrail_storage::stock::MovementRow;
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::fields;
use crate::items::counting;
use crate::names::Names;
use crate::quantities::QuantityEntered;
use crate::reach::{self, Request};
use crate::standing::Standing;
use crate::tubs::{Found, Moved, Step};
use crate::tubtrail::{Answered, Tubtrail};

/// Where stock stands that someone can lay a hand on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standpoint {
    /// On the shelf, whole.
    Available,
    /// A tub in the case.
    Open,
}

impl Standpoint {
    pub(crate) const fn state(self) -> State {
        match self {
            Self::Available => State::Available,
            Self::Open => State::Open,
        }
    }

    /// The word for it in every answer.
    pub const fn word(self) -> &'static str {
        self.state().word()
    }

    /// What a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Available, Self::Open].into_iter().find(|standpoint| standpoint.state().word() == word)
    }
}

/// Something of a lot is thrown away.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "the case broke down overnight"}))]
pub struct Discard {
    /// The code of the site where it lies; needed only where the book does not tell.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub site: Option<String>,
    /// From the shelf or from the case; needed only where the book does not tell.
    #[serde(default)]
    pub state: Option<Standpoint>,
    /// How much; all of it, if absent.
    #[serde(default)]
    pub quantity: Option<QuantityEntered>,
    /// Why.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub reason: Option<String>,
    /// When; now, if absent.
    #[serde(default)]
    pub discarded_at: Option<DateTime<Utc>>,
}

impl Tubtrail {
    /// Throws something of a lot away, or all of it.
    pub fn discard_lot(&self, request: &Request, lot: &str, discard: Discard) -> Result<Answered<Moved>> {
        let found = Found::of(request, &reach::DISCARD_LOT, lot)?;
        self.write(request, &reach::DISCARD_LOT, move |tx| {
            let wanted = match discard.state {
                Some(standpoint) => vec![standpoint.state()],
                None => vec![State::Available, State::Open],
            };
            let (standing, site) = found.standing(tx, discard.site.as_deref(), &wanted)?;
            let at = fields::occurred_at("discarded_at", discard.discarded_at, tx.now())?;
            let reason = fields::reason("reason", discard.reason.as_deref())?;
            let wanted_mg = wanted_mg(tx, &standing, discard.quantity.as_ref())?;
            standing.refuse_before_it_was("discarded_at", at)?;
            let from = Place::new(site.row.id, state_at(&standing, site.row.id, discard.state)?);
            let mass_mg = standing.take(from, &site.row.code, wanted_mg, false)?;
            let to = Place::new(site.row.id, State::Discarded);
            let step = Step { kind: "discarded", from, to, mass_mg, at };
            step.done(tx, &standing, &site, |row| MovementRow { reason: Some(reason), ..row })
        })
    }
}

/// How much is wanted of a lot, in milligrams, if that is said. The fields at fault are under `quantity`.
pub(crate) fn wanted_mg(
    tx: &mut WriteTx<'_>,
    standing: &Standing,
    quantity: Option<&QuantityEntered>,
) -> Result<Option<i64>> {
    let Some(quantity) = quantity else { return Ok(None) };
    let mut names = Names::default();
    let item = names.item(tx.conn()?, standing.lot.item_id)?;
    let mass = quantity.to_mass(&counting(&item.current)?).map_err(|error| error.under("quantity"))?;
    Ok(Some(mass.mg()))
}

/// The state said, or the only one in which the site has any.
fn state_at(standing: &Standing, site_id: i64, said: Option<Standpoint>) -> Result<State> {
    if let Some(standpoint) = said {
        return Ok(standpoint.state());
    }
    let has = |state| standing.at(Place::new(site_id, state)) > 0;
    match (has(State::Available), has(State::Open)) {
        (true, true) => {
            let detail = say!("some of it is on the shelf and some in the case: say available or open");
            Err(OperationError::invalid("state", detail))
        }
        (_, true) => Ok(State::Open),
        (_, false) => Ok(State::Available),
    }
}
