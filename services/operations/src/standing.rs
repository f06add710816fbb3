//! A lot's standing: where it is, whether it is on hold or was turned away, who reaches it, and what may be done with it.

use chrono::NaiveDateTime;
use tubtrail_domain::moving::{self, Act, CannotBe, PartRefusal, Refusal, TubFound};
use tubtrail_domain::place::{Place, State};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::master_data::Site;
use tubtrail_storage::standing::{self, StandingRow};
use tubtrail_storage::stock::{HoldRow, LotRejectionRow};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};

use crate::error::{OperationError, Result};
use crate::index::{Index, lot_ix};
use crate::names::Names;
use crate::quantities::in_grams;
use crate::reach::{Actor, Operation};
use crate::{fields, lots, problems};

/// Everything that decides what may be done with a lot.
pub(crate) struct Standing {
    pub lot: LotRow,
    /// The code of its item.
    pub item_code: String,
    /// The oldest hold not released.
    pub hold: Option<HoldRow>,
    pub rejection: Option<LotRejectionRow>,
    /// Every place that ever held or gave some of it, in order, with what it holds now.
    places: Vec<(Place, i64)>,
}

impl Standing {
    /// As the book has it now. Who asks must be checked with [`Self::sites_of`] or [`Self::refuse_out_of_reach`].
    pub(crate) fn of(conn: &mut AnyConnection, lot: &LotRow) -> Result<Self> {
        let missing = || StorageError::Corrupt(format!("lot row {} is missing", lot.id));
        Ok(Self::read(standing::by_id(conn, lot.id)?.ok_or_else(missing)?))
    }

    /// Of the lot a number in a request's address names. Who asks must be checked likewise.
    pub(crate) fn addressed(conn: &mut AnyConnection, text: &str) -> Result<Self> {
        let number = lots::parse(text)?;
        let missing = || OperationError::not_found(say!("lot"), text);
        Ok(Self::read(standing::by_number(conn, number)?.ok_or_else(missing)?))
    }

    /// The same, where a command may have had it looked up with the lots of its group.
    pub(crate) fn looked_up(tx: &mut WriteTx<'_>, text: &str) -> Result<Self> {
        let number = lots::parse(text)?;
        let missing = || OperationError::not_found(say!("lot"), text);
        Ok(Self::read(tx.standing(number)?.ok_or_else(missing)?))
    }

    /// Of a lot named in a field: one out of the actor's reach is unknown.
    pub(crate) fn named(conn: &mut AnyConnection, actor: &Actor, field: &str, text: &str) -> Result<Self> {
        let number = lots::parse(text).map_err(|error| error.at(field))?;
        let unknown = || OperationError::unknown(say!("lot"), text, field);
        let standing = Self::read(standing::by_number(conn, number)?.ok_or_else(unknown)?);
        if standing.is_reached_by(actor) { Ok(standing) } else { Err(unknown()) }
    }

    fn read(row: StandingRow) -> Self {
        let StandingRow { lot, item_code, hold, rejection, places } = row;
        Self { lot, item_code, hold, rejection, places }
    }

    /// Its number, as people write it.
    pub(crate) fn number(&self) -> Result<String> {
        Ok(lots::number(&self.lot)?.to_string())
    }

    pub(crate) fn is_tub(&self) -> bool {
        self.lot.kind == "tub"
    }

    /// What a place holds of it, in milligrams.
    pub(crate) fn at(&self, place: Place) -> i64 {
        self.places.iter().filter(|(held, _)| *held == place).map(|(_, mass_mg)| mass_mg).sum()
    }

    /// What the whole house holds of it, on the way too, in milligrams.
    pub(crate) fn on_hand(&self) -> i64 {
        self.places.iter().filter(|(place, _)| place.state.is_on_hand()).map(|(_, mass_mg)| mass_mg).sum()
    }

    /// The places in the house that hold some of it.
    pub(crate) fn lies_at(&self) -> impl Iterator<Item = Place> + '_ {
        self.places.iter().filter(|(place, mass_mg)| place.state.is_on_hand() && *mass_mg > 0).map(|(place, _)| *place)
    }

    /// What may turn up of it, in milligrams: what counts and receipts missed and did not find again, and of an open tub
    /// what was served, for scoops are reckoned.
    pub(crate) fn spare(&self, is_open: bool) -> i64 {
        let lost = |state: State| state == State::CountDifference || (is_open && state == State::Served);
        self.places.iter().filter(|(place, _)| lost(place.state)).map(|(_, mass_mg)| mass_mg).sum::<i64>().max(0)
    }

    /// The sites where it is available, with how much, in milligrams.
    pub(crate) fn available(&self) -> impl Iterator<Item = (i64, i64)> + '_ {
        let is_there = |(place, mass_mg): &&(Place, i64)| place.state == State::Available && *mass_mg > 0;
        self.places.iter().filter(is_there).map(|(place, mass_mg)| (place.site_id, *mass_mg))
    }

    /// Every site where it is, was, or came to be; in order.
    pub(crate) fn sites(&self) -> Vec<i64> {
        let mut sites: Vec<i64> = self.places.iter().map(|(place, _)| place.site_id).collect();
        sites.push(self.lot.site_id);
        sites.sort_unstable();
        sites.dedup();
        sites
    }

    /// The sites among [`Self::sites`] where the actor may do this: a lot none of whose sites they reach is not found.
    pub(crate) fn sites_of(&self, actor: &Actor, operation: &Operation) -> Result<Vec<i64>> {
        self.refuse_out_of_reach(actor)?;
        let theirs: Vec<i64> =
            self.sites().into_iter().filter(|site| actor.is_any_at(operation.roles, *site)).collect();
        if theirs.is_empty() {
            let reached = self.sites().into_iter().find(|site| actor.reaches(*site));
            actor.may(operation, reached.unwrap_or(self.lot.site_id))?;
        }
        Ok(theirs)
    }

    /// The sites that decide over it: every one where some of it lies, or where it came to be if it lies nowhere any more.
    /// Having once been at a site gives no power over what lies elsewhere; so the actor must be allowed this at all of them.
    pub(crate) fn sites_decided_by(&self, actor: &Actor, operation: &Operation) -> Result<Vec<i64>> {
        self.refuse_out_of_reach(actor)?;
        let mut sites: Vec<i64> = self.lies_at().map(|place| place.site_id).collect();
        sites.dedup();
        if sites.is_empty() {
            sites.push(self.lot.site_id);
        }
        if sites.iter().all(|site| actor.is_any_at(operation.roles, *site)) {
            return Ok(sites);
        }
        let number = self.number()?;
        let roles: Vec<_> = operation.roles.iter().map(|role| role.word()).collect();
        let detail =
            say!("this needs the role {roles} wherever some of lot {number} lies", roles = roles.join(" or "), number);
        Err(OperationError::new(&problems::FORBIDDEN, detail).about([number]))
    }

    fn is_reached_by(&self, actor: &Actor) -> bool {
        self.sites().into_iter().any(|site| actor.reaches(site))
    }

    /// Refuses as not found unless the actor has any role at any of its sites.
    pub(crate) fn refuse_out_of_reach(&self, actor: &Actor) -> Result<()> {
        if self.is_reached_by(actor) {
            return Ok(());
        }
        Err(OperationError::not_found(say!("lot"), self.number()?))
    }

    /// The site where something is done with it: the one named in the field `site`, or the only one in the actor's reach
    /// that holds some of it, those in one of the `wanted` states first. Refuses where they may not do it.
    pub(crate) fn site(
        &self,
        conn: &mut AnyConnection,
        actor: &Actor,
        operation: &Operation,
        named: Option<&str>,
        wanted: &[State],
    ) -> Result<Site> {
        if let Some(code) = named {
            let site = fields::site_for(conn, "site", code, actor, operation)?;
            self.refuse_out_of_reach(actor)?;
            return Ok(site);
        }
        self.refuse_out_of_reach(actor)?;
        let lies_at = |states: &[State]| -> Vec<i64> {
            let lies = |(place, mass_mg): &&(Place, i64)| *mass_mg > 0 && states.contains(&place.state);
            let mut sites: Vec<i64> = self.places.iter().filter(lies).map(|(place, _)| place.site_id).collect();
            sites.dedup();
            sites.retain(|site| actor.reaches(*site));
            sites
        };
        let mut sites = lies_at(wanted);
        if sites.is_empty() {
            sites = lies_at(&[State::Available, State::Open]);
        }
        if sites.is_empty() {
            // Nothing is left in reach: whatever is asked will be refused, as of where it was last.
            sites.extend(self.sites().into_iter().rev().find(|site| actor.reaches(*site)));
        }
        let mut known = Names::default();
        if let [only] = *sites.as_slice() {
            actor.may(operation, only)?;
            return Ok(known.site(conn, only)?.clone());
        }
        let codes: Result<Vec<_>> = sites.iter().map(|site| known.site_code(conn, *site)).collect();
        Err(OperationError::invalid("site", say!("it lies at {codes}: say which", codes = codes?.join(" and "))))
    }

    /// Refuses unless this may be done with it at a site, at a moment. The index must hold all that was written before.
    pub(crate) fn may(&self, index: &Index, act: Act, site: &Site, at: NaiveDateTime) -> Result<()> {
        let recalled = Keeper::of(index, self.lot.id)?;
        let here = |state| self.at(Place::new(site.row.id, state));
        let (available_mg, open_mg) = (here(State::Available), here(State::Open));
        let standing = moving::Standing {
            is_tub: self.is_tub(),
            recalled: recalled.is_some(),
            rejected: self.rejection.as_ref().map(|rejection| rejection.reason.as_str()),
            hold: self.hold.as_ref().map(|hold| hold.reason.as_str()),
            expires_on: self.lot.expires_on,
            available_mg,
            open_mg,
            elsewhere_mg: self.on_hand() - available_mg - open_mg,
        };
        moving::may(act, &standing, fields::day_at(site, at)?)
            .or_else(|refusal| Err(self.refusal(&refusal, recalled.as_ref(), &site.row.code)?))
    }

    /// Refuses a moment before the lot came to be.
    pub(crate) fn refuse_before_it_was(&self, field: &str, at: NaiveDateTime) -> Result<()> {
        if at >= self.lot.came_to_be_at {
            return Ok(());
        }
        let detail =
            say!("lot {lot} came to be at {at}", lot = self.number()?, at = fields::utc(self.lot.came_to_be_at));
        Err(OperationError::new(&problems::OUT_OF_ORDER, detail).at(field).about([self.number()?]))
    }

    /// Refuses of a tub what cannot be found of it, where so much is expected. The field at fault is `lot`, or the
    /// one that says how much.
    pub(crate) fn refuse_what_cannot_be(
        &self,
        field: &str,
        found_mg: i64,
        expected_mg: i64,
        spare_mg: i64,
    ) -> Result<()> {
        if !self.is_tub() {
            return Ok(());
        }
        let elsewhere_mg = self.on_hand() - expected_mg;
        let Err(why) = moving::may_be_found(&TubFound { found_mg, expected_mg, elsewhere_mg, spare_mg }) else {
            return Ok(());
        };
        let number = self.number()?;
        let error = match why {
            CannotBe::Elsewhere => {
                let detail = say!("the book has tub {number} at another place: count it there first", number);
                OperationError::new(&problems::LOT_ELSEWHERE, detail).at("lot")
            }
            CannotBe::MoreThan(most_mg) => {
                let detail = say!("of tub {number}, {mass} can be there and no more", number, mass = in_grams(most_mg));
                OperationError::invalid(field, detail)
            }
        };
        Err(error.about([number]))
    }

    /// How much of what a place holds is taken: all, or what is wanted. The field at fault is `quantity` or under it.
    pub(crate) fn take(&self, place: Place, site: &str, wanted_mg: Option<i64>, only_whole: bool) -> Result<i64> {
        let there = self.at(place);
        match moving::take(there, wanted_mg, only_whole) {
            Ok(mass_mg) if mass_mg > 0 => Ok(mass_mg),
            Ok(_) | Err(PartRefusal::NotEnough) => {
                let field = if wanted_mg.is_some() { "quantity.amount" } else { "quantity" };
                Err(self.not_enough(place, site, wanted_mg.unwrap_or(0))?.at(field))
            }
            Err(PartRefusal::OnlyWhole) => {
                let number = self.number()?;
                let detail = say!("tub {number} holds {mass} and goes as a whole", number, mass = in_grams(there));
                Err(OperationError::invalid("quantity", detail).about([number]))
            }
        }
    }

    /// There is less of it in a place than is wanted.
    pub(crate) fn not_enough(&self, place: Place, site: &str, wanted_mg: i64) -> Result<OperationError> {
        let number = self.number()?;
        let (there, state) = (in_grams(self.at(place)), words(place.state));
        let detail = if wanted_mg > 0 {
            let wanted = in_grams(wanted_mg);
            say!("lot {number}: {there} are {state} at {site}, {wanted} are wanted", number, there, state, site, wanted)
        } else {
            say!("lot {number}: {there} are {state} at {site}", number, there, state, site)
        };
        Ok(OperationError::new(&problems::NOT_ENOUGH, detail).about([number]))
    }

    fn refusal(&self, refusal: &Refusal<'_>, recalled: Option<&Keeper>, site: &str) -> Result<OperationError> {
        let number = self.number()?;
        let (problem, detail) = match refusal {
            Refusal::Recalled => (&problems::LOT_RECALLED, self.said_of_recall(recalled)?),
            Refusal::NotATub => {
                (&problems::NOT_A_TUB, say!("lot {number} is no tub, but a lot of another kind", number))
            }
            Refusal::Rejected(why) => (&problems::LOT_REJECTED, say!("lot {number} was rejected: {why}", number, why)),
            Refusal::OnHold(why) => (&problems::LOT_ON_HOLD, self.said_of_hold(why)?),
            Refusal::Expired(date) => {
                (&problems::LOT_EXPIRED, say!("the last day of lot {number} was {date}", number, date))
            }
            Refusal::AlreadyOpen => (&problems::ALREADY_OPEN, say!("tub {number} stands open at {site}", number, site)),
            Refusal::NotOpen => {
                (&problems::NOT_OPEN, say!("tub {number} stands closed at {site}: open it first", number, site))
            }
            Refusal::Elsewhere => {
                (&problems::LOT_ELSEWHERE, say!("the book has lot {number} elsewhere, not at {site}", number, site))
            }
            Refusal::NothingLeft => (&problems::NOT_ENOUGH, say!("nothing is left of lot {number}", number)),
        };
        Ok(OperationError::new(problem, detail).about([number]))
    }
}

impl Standing {
    /// What to do and say about a lot under recall.
    pub(crate) fn said_of_recall(&self, recalled: Option<&Keeper>) -> Result<Saying> {
        let number = self.number()?;
        let by = recalled.map_or_else(|| say!("recall"), Keeper::in_words);
        Ok(if self.is_tub() {
            say!(
                "Tub {number} is under {by}: do not open or serve it and do not send it anywhere. Put it aside, tell \
                 customers this flavour is not available, and call the responsible person.",
                number,
                by
            )
        } else {
            say!(
                "Lot {number} is under {by}: do not use it and do not send it anywhere. Put it aside and call the responsible person.",
                number,
                by
            )
        })
    }

    /// What to do and say about a lot on hold.
    pub(crate) fn said_of_hold(&self, why: &str) -> Result<Saying> {
        let number = self.number()?;
        let why = why.trim_end_matches('.');
        Ok(if self.is_tub() {
            say!(
                "Tub {number} is on hold: {why}. Do not open or serve it and do not send it anywhere: put it aside until \
                 the hold is released, and tell customers it is not available.",
                number,
                why
            )
        } else {
            say!(
                "Lot {number} is on hold: {why}. Do not use it and do not send it anywhere until the hold is released.",
                number,
                why
            )
        })
    }
}

/// The oldest recall that keeps a lot.
#[derive(Clone, Debug)]
pub(crate) struct Keeper {
    /// Its number.
    pub recall: i64,
    /// When it was written down.
    pub since: NaiveDateTime,
    is_drill: bool,
    hazard: String,
}

impl Keeper {
    /// Of a lot by row id; none, if no recall keeps it.
    pub(crate) fn of(index: &Index, lot_id: i64) -> Result<Option<Self>> {
        let lot = lot_ix(lot_id)?;
        Ok(index.look(|inside, _| {
            inside.recalls.holding(lot).next().map(|recalled| Self {
                recall: recalled.row.id,
                since: recalled.since,
                is_drill: recalled.row.is_drill,
                hazard: recalled.row.hazard.clone(),
            })
        }))
    }

    fn in_words(&self) -> Saying {
        let (recall, hazard) = (self.recall, &self.hazard);
        if self.is_drill {
            say!("recall drill {recall} ({hazard})", recall, hazard)
        } else {
            say!("recall {recall} ({hazard})", recall, hazard)
        }
    }
}

/// A state as it stands in a sentence.
pub(crate) const fn words(state: State) -> Saying {
    match state {
        State::Available => say!("available"),
        State::Open => say!("open"),
        State::InTransit => say!("on the way"),
        State::Supplier => say!("with the supplier"),
        State::Production => say!("in production"),
        State::Served => say!("served"),
        State::Consigned => say!("consigned"),
        State::Discarded => say!("discarded"),
        State::CountDifference => say!("a count difference"),
    }
}
