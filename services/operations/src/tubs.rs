//! Tubs: opened, served from, emptied.
//!
//! Scoops are rarely weighed. Opening and emptying say from when to when a tub was served from; what was not written down
//! meanwhile is booked as served when it is emptied.

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::moving::Act;
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_storage::WriteTx;
use tubtrail_storage::master_data::Site;
use tubtrail_storage::stock::{MovementRow, opened_at};
use tubtrail_storage::write::Asks;
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::items::{counting, mass};
use crate::lots::movement;
use crate::names::{Names, partner_code};
use crate::quantities::{Grams, QuantityEntered};
use crate::reach::{self, Actor, Operation, Request};
use crate::standing::Standing;
use crate::tubtrail::{Answered, HandedIn, Tubtrail};
use crate::{fields, problems};

/// Most portions in one serving.
const MOST_PORTIONS: u32 = 1000;

/// A tub is opened.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"site": "harbour-shop", "opened_at": "2026-11-25T10:05:00Z"}))]
pub struct Opening {
    /// The code of the site where it stands; needed only where the book does not tell.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub site: Option<String>,
    /// When; now, if absent.
    #[serde(default)]
    pub opened_at: Option<DateTime<Utc>>,
}

/// Something is served from an open tub: one of `grams`, `quantity`, `portions`.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"portions": 2}))]
pub struct Serving {
    /// The code of the site where it stands; needed only where the book does not tell.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub site: Option<String>,
    /// How much, off the scale.
    #[serde(default)]
    pub grams: Option<Grams>,
    /// How much, in any unit.
    #[serde(default)]
    pub quantity: Option<QuantityEntered>,
    /// How many portions, each as large as the item says.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 1000)]
    pub portions: Option<u32>,
    /// When; now, if absent.
    #[serde(default)]
    pub served_at: Option<DateTime<Utc>>,
}

/// An open tub is empty.
#[derive(Clone, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"emptied_at": "2026-11-26T18:40:00Z"}))]
pub struct Emptying {
    /// The code of the site where it stands; needed only where the book does not tell.
    #[serde(default)]
    #[schema(max_length = 40)]
    pub site: Option<String>,
    /// When; now, if absent.
    #[serde(default)]
    pub emptied_at: Option<DateTime<Utc>>,
}

/// What was moved of a lot, and what is left of it at the site.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"lot": "261125-0042-7", "item": "pistachio", "site": "harbour-shop", "kind": "served",
    "grams": 160, "occurred_at": "2026-11-25T10:12:00Z", "available_grams": 0, "open_grams": 4590, "entry": 8123}))]
pub struct Moved {
    /// Our number for the lot.
    pub lot: String,
    /// Its item's code.
    pub item: String,
    /// The site's code.
    pub site: String,
    /// What happened: opened, served, emptied, discarded, consigned.
    pub kind: String,
    /// How much was moved.
    pub grams: Grams,
    /// When it happened.
    pub occurred_at: DateTime<Utc>,
    /// Why, where that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The code of the customer it went to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer: Option<String>,
    /// The number of the paper it went with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub document: Option<String>,
    /// What the site still has on the shelf.
    pub available_grams: Grams,
    /// What the site still has in the case.
    pub open_grams: Grams,
    /// The journal entry that holds it.
    pub entry: i64,
}

impl Tubtrail {
    /// Opens a tub: all of it goes from the shelf into the case.
    pub fn open_tub(&self, request: &Request, lot: &str, opening: Opening) -> Result<Answered<Moved>> {
        self.hand_in_opening(request, lot, opening)?.wait()
    }

    /// The same, for whoever must not block.
    pub fn hand_in_opening(&self, request: &Request, lot: &str, opening: Opening) -> Result<HandedIn<Moved>> {
        let found = Found::of(request, &reach::OPEN_TUB, lot)?;
        self.hand_in_on_lot(request, (&reach::OPEN_TUB, Asks::Recalls), lot, move |tx, index| {
            let (standing, site) = found.standing(tx, opening.site.as_deref(), &[State::Available])?;
            let at = fields::occurred_at("opened_at", opening.opened_at, tx.now())?;
            standing.may(index, Act::Open, &site, at)?;
            standing.refuse_before_it_was("opened_at", at)?;
            let closed = Place::new(site.row.id, State::Available);
            let mass_mg = standing.at(closed);
            let case = Place::new(site.row.id, State::Open);
            Step { kind: "opened", from: closed, to: case, mass_mg, at }.done(tx, &standing, &site, |row| row)
        })
    }

    /// Serves from an open tub.
    pub fn serve_tub(&self, request: &Request, lot: &str, serving: Serving) -> Result<Answered<Moved>> {
        self.hand_in_serving(request, lot, serving)?.wait()
    }

    /// The same, for whoever must not block.
    pub fn hand_in_serving(&self, request: &Request, lot: &str, serving: Serving) -> Result<HandedIn<Moved>> {
        let found = Found::of(request, &reach::SERVE_TUB, lot)?;
        self.hand_in_on_lot(request, (&reach::SERVE_TUB, Asks::Recalls), lot, move |tx, index| {
            let (standing, site) = found.standing(tx, serving.site.as_deref(), &[State::Open])?;
            let at = fields::occurred_at("served_at", serving.served_at, tx.now())?;
            let (field, mass_mg) = served(tx, &standing, &serving)?;
            standing.may(index, Act::Serve, &site, at)?;
            refuse_before_opening(tx, &standing, "served_at", at)?;
            let case = Place::new(site.row.id, State::Open);
            let mass_mg = standing.take(case, &site.row.code, Some(mass_mg), false).map_err(|error| error.at(field))?;
            let eaten = Place::new(site.row.id, State::Served);
            Step { kind: "served", from: case, to: eaten, mass_mg, at }.done(tx, &standing, &site, |row| row)
        })
    }

    /// Says that an open tub is empty: what the book still holds of it was served without being weighed.
    pub fn empty_tub(&self, request: &Request, lot: &str, emptying: Emptying) -> Result<Answered<Moved>> {
        self.hand_in_emptying(request, lot, emptying)?.wait()
    }

    /// The same, for whoever must not block.
    pub fn hand_in_emptying(&self, request: &Request, lot: &str, emptying: Emptying) -> Result<HandedIn<Moved>> {
        let found = Found::of(request, &reach::EMPTY_TUB, lot)?;
        self.hand_in_on_lot(request, (&reach::EMPTY_TUB, Asks::Recalls), lot, move |tx, index| {
            let (standing, site) = found.standing(tx, emptying.site.as_deref(), &[State::Open])?;
            let at = fields::occurred_at("emptied_at", emptying.emptied_at, tx.now())?;
            standing.may(index, Act::Empty, &site, at)?;
            refuse_before_opening(tx, &standing, "emptied_at", at)?;
            let case = Place::new(site.row.id, State::Open);
            let mass_mg = standing.at(case);
            let eaten = Place::new(site.row.id, State::Served);
            Step { kind: "emptied", from: case, to: eaten, mass_mg, at }.done(tx, &standing, &site, |row| row)
        })
    }
}

/// A lot in an address, and who wants something done with it.
pub(crate) struct Found {
    actor: Actor,
    operation: &'static Operation,
    lot: String,
}

impl Found {
    /// Refuses whoever may do this nowhere.
    pub(crate) fn of(request: &Request, operation: &'static Operation, lot: &str) -> Result<Self> {
        request.actor.may_anywhere(operation)?;
        Ok(Self { actor: request.actor.clone(), operation, lot: lot.to_owned() })
    }

    /// The lot as it stands, and the site where it is to be done.
    pub(crate) fn standing(
        &self,
        tx: &mut WriteTx<'_>,
        site: Option<&str>,
        wanted: &[State],
    ) -> Result<(Standing, Site)> {
        let standing = Standing::looked_up(tx, &self.lot)?;
        let site = standing.site(tx.conn()?, &self.actor, self.operation, site, wanted)?;
        Ok((standing, site))
    }
}

/// One movement of a lot at one site.
pub(crate) struct Step {
    pub kind: &'static str,
    pub from: Place,
    pub to: Place,
    pub mass_mg: i64,
    pub at: NaiveDateTime,
}

impl Step {
    /// Makes it, with what else is known of it, and answers.
    pub(crate) fn done(
        &self,
        tx: &mut WriteTx<'_>,
        standing: &Standing,
        site: &Site,
        more: impl FnOnce(MovementRow) -> MovementRow,
    ) -> Result<Moved> {
        tx.at_site(site.row.id);
        let row = movement(tx, &standing.lot, self.kind, self.from, self.to);
        let row = more(MovementRow { mass_mg: self.mass_mg, occurred_at: self.at, ..row });
        tx.move_mass(&row)?;
        let left = |state| Grams::from_mg(self.left(standing, Place::new(site.row.id, state)));
        let customer = row.partner_id.map(|id| partner_code(tx.conn()?, id)).transpose()?;
        Ok(Moved {
            lot: standing.number()?,
            item: standing.item_code.clone(),
            site: site.row.code.clone(),
            kind: row.kind,
            grams: Grams::from_mg(row.mass_mg),
            occurred_at: fields::utc(row.occurred_at),
            reason: row.reason,
            customer,
            document: row.document,
            available_grams: left(State::Available),
            open_grams: left(State::Open),
            entry: row.entry,
        })
    }

    /// What a place holds after it, in milligrams.
    fn left(&self, before: &Standing, place: Place) -> i64 {
        let came = if self.to == place { self.mass_mg } else { 0 };
        let went = if self.from == place { self.mass_mg } else { 0 };
        before.at(place) + came - went
    }
}

/// How much is served, in milligrams, and the field that says so.
fn served(tx: &mut WriteTx<'_>, standing: &Standing, serving: &Serving) -> Result<(&'static str, i64)> {
    let said = [serving.grams.is_some(), serving.quantity.is_some(), serving.portions.is_some()];
    if said.iter().filter(|said| **said).count() > 1 {
        let second = if serving.portions.is_some() { "portions" } else { "quantity" };
        return Err(OperationError::invalid(second, say!("say it once: grams, quantity or portions")));
    }
    if let Some(grams) = serving.grams {
        return Ok(("grams", mass("grams", grams)?.mg()));
    }
    let mut names = Names::default();
    let item = names.item(tx.conn()?, standing.lot.item_id)?;
    if let Some(quantity) = &serving.quantity {
        let mass = quantity.to_mass(&counting(&item.current)?).map_err(|error| error.under("quantity"))?;
        return Ok(("quantity.amount", mass.mg()));
    }
    let Some(portions) = serving.portions else {
        return Err(OperationError::invalid("grams", say!("say how much: grams, quantity or portions")));
    };
    if !(1..=MOST_PORTIONS).contains(&portions) {
        return Err(OperationError::invalid("portions", say!("1 to {most} portions are taken", most = MOST_PORTIONS)));
    }
    let Some(portion_mg) = item.current.portion_mg else {
        let detail = say!("{item} has no portion: give the item one, or say how many grams", item = item.current.name);
        return Err(OperationError::invalid("portions", detail));
    };
    Ok(("portions", i64::from(portions) * portion_mg))
}

fn refuse_before_opening(tx: &mut WriteTx<'_>, standing: &Standing, field: &str, at: NaiveDateTime) -> Result<()> {
    let opened = opened_at(tx.conn()?, standing.lot.id)?;
    let Some(opened) = opened.filter(|opened| at < *opened) else { return standing.refuse_before_it_was(field, at) };
    let detail = say!("tub {lot} was opened at {at}", lot = standing.number()?, at = fields::utc(opened));
    Err(OperationError::new(&problems::OUT_OF_ORDER, detail).at(field).about([standing.number()?]))
}
