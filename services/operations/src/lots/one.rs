//! One lot as it stands, out of the index: what is asked of lots most often takes nothing from the database.

use tubtrail_domain::place::State;
use tubtrail_lineage::LotIx;
use tubtrail_storage::StorageError;

use super::{Lot, parse};
use crate::error::Result;
use crate::fields;
use crate::index::{Answered, Inside, Unanswered, Unread, lot_row};
use crate::quantities::Grams;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

impl Tubtrail {
    /// One lot. It is in reach of those at the site where it came to be and at every site where it has ever been.
    pub fn get_lot(&self, request: &Request, number: &str) -> Result<Lot> {
        let lot = self.lot_addressed(request, &reach::GET_LOT, number)?;
        self.answer_of(request, |inside, _| inside.lot_shown(lot))
    }

    /// The same as JSON, where the answer is at hand; says nothing where it is not. Does not block.
    pub fn get_lot_at_hand(&self, request: &Request, number: &str) -> Option<Result<String>> {
        let number = parse(number).ok()?;
        let lot = self.answer_at_hand(request, |inside, _| {
            let lot = inside.lot_reached(&request.actor, &reach::GET_LOT, number).ok_or(Unanswered::NotHere)?;
            inside.lot_shown(lot)
        })?;
        Some(lot.and_then(|lot| Ok(serde_json::to_string(&lot).map_err(StorageError::from)?)))
    }
}

impl Inside {
    /// A lot as answers show it. What lies nowhere, was not used and is not missing went back.
    pub(crate) fn lot_shown(&self, lot: LotIx) -> Answered<Lot> {
        let (card, row) = (self.lot_card(lot)?, lot_row(lot));
        let (came_to_be_at, mature_at) = self.beside.particulars.moments(&card).ok_or_else(|| Unread::of_lot(lot))?;
        let (mut lying_mg, mut found_mg) = (0, 0);
        for (place, mg) in self.beside.particulars.places(&self.graph, &card) {
            lying_mg += mg;
            found_mg -= if place.state == State::CountDifference { mg } else { 0 };
        }
        // The graph holds what was found later as well.
        let mass_mg = self.graph.mass(lot) - found_mg.max(0);
        let used_mg = self.graph.used(lot);
        let item = self.beside.names.item(card.sort.item_id)?;
        Ok(Lot {
            lot: card.number.to_string(),
            item: item.row.code.clone(),
            name: item.current.name.clone(),
            kind: card.sort.kind,
            came_from: self.origin_of(&card)?,
            site: self.beside.names.site_code(card.sort.site_id)?.to_owned(),
            grams: Grams::from_mg(mass_mg),
            came_to_be_at: fields::utc(came_to_be_at),
            mature_at: mature_at.map(fields::utc),
            expiry: card.expiry(),
            on_hold: self.hold_shown(row),
            recalls: self.recalls_keeping(lot),
            rejected: self.beside.kept.rejection(row).map(str::to_owned),
            places: self.holdings_of(&card)?,
            used_grams: Grams::from_mg(used_mg),
            returned_grams: Grams::from_mg(mass_mg - used_mg - lying_mg),
        })
    }
}
