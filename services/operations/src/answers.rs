//! Answers of the index: what it keeps is answered without the database, and what was not read yet is read first.

use std::collections::BTreeSet;

use tubtrail_domain::lot_number::LotNumber;
use tubtrail_lineage::{LotIx, Scratch};
use tubtrail_storage::{AnyConnection, Follower, StorageError};

use crate::error::Result;
use crate::index::{Answered, Index, Inside, Unanswered, Unread, lot_ix};
use crate::lots::{addressed, parse, within_reach};
use crate::reach::{Actor, Operation, Request};
use crate::tubtrail::Tubtrail;

/// How often it is tried again where a lot is not where it just was: it was moved meanwhile.
const TRIES: usize = 8;

impl Inside {
    /// The lot with a number, where it is known without the database that someone may do this to it: where it came to be, or
    /// where some of it lies.
    pub(crate) fn lot_reached(&self, actor: &Actor, operation: &Operation, number: LotNumber) -> Option<LotIx> {
        let particulars = &self.beside.particulars;
        let lot = particulars.find(number)?;
        let card = particulars.lot(lot)?;
        let lies_at = particulars.places(&self.graph, &card).map(|(place, _)| place.site_id);
        let mut sites = std::iter::once(card.sort.site_id).chain(lies_at);
        sites.any(|site| actor.is_any_at(operation.roles, site)).then_some(lot)
    }
}

impl Tubtrail {
    /// The index, which holds all that was committed before a request came.
    pub(crate) fn index_for(&self, request: &Request) -> Result<&Index> {
        if !self.holds_all_before(request) {
            self.read(|conn| self.current_index(conn).map(drop))?;
        }
        Ok(&self.index)
    }

    /// What the index answers a request.
    pub(crate) fn answer_of<T>(
        &self,
        request: &Request,
        answer: impl FnMut(&Inside, &mut Scratch) -> Answered<T>,
    ) -> Result<T> {
        let nowhere =
            |_: &mut AnyConnection| Err(StorageError::Corrupt("a lot is not where it was found".into()).into());
        self.answer(request, answer, nowhere)
    }

    /// The same, of lots that may not be where they should be: then the database says why, or which lots they are.
    pub(crate) fn answer<T>(
        &self,
        request: &Request,
        mut answer: impl FnMut(&Inside, &mut Scratch) -> Answered<T>,
        ask_database: impl Fn(&mut AnyConnection) -> Result<Vec<i64>>,
    ) -> Result<T> {
        let index = self.index_for(request)?;
        let mut tries = 0;
        loop {
            match index.look(&mut answer) {
                Ok(answer) => return Ok(answer),
                Err(Unanswered::Refused(error)) => return Err(*error),
                Err(Unanswered::Unread(parts)) => self.read_in(&parts)?,
                Err(Unanswered::NotHere) if tries < TRIES => {
                    tries += 1;
                    let lots = self.read_at_once(&ask_database)?;
                    let parts = lots.into_iter().map(|lot| Ok(Unread::of_lot(lot_ix(lot)?)));
                    self.read_in(&parts.collect::<Result<_>>()?)?;
                }
                Err(Unanswered::NotHere) => return Err(StorageError::Busy.into()),
            }
        }
    }

    /// What the index answers a request, if that takes nothing from the database. Does not block.
    pub(crate) fn answer_at_hand<T>(
        &self,
        request: &Request,
        answer: impl FnOnce(&Inside, &mut Scratch) -> Answered<T>,
    ) -> Option<Result<T>> {
        if !self.holds_all_before(request) {
            return None;
        }
        match self.index.look(answer) {
            Ok(answer) => Some(Ok(answer)),
            Err(Unanswered::Refused(error)) => Some(Err(*error)),
            Err(Unanswered::Unread(_) | Unanswered::NotHere) => None,
        }
    }

    /// The lot that a request's address names, for someone who may do this to it.
    pub(crate) fn lot_addressed(&self, request: &Request, operation: &Operation, text: &str) -> Result<LotIx> {
        let number = parse(text)?;
        let at_hand = self.index_for(request)?.look(|inside, _| inside.lot_reached(&request.actor, operation, number));
        if let Some(lot) = at_hand {
            return Ok(lot);
        }
        self.read_at_once(|conn| {
            let row = addressed(conn, text)?;
            within_reach(conn, &request.actor, operation, &row)?;
            // It may have come to be just now.
            self.current_index(conn)?;
            Ok(lot_ix(row.id)?)
        })
    }

    /// Reads everything of the index that is otherwise read when it is first asked for, part by part, as long as it `goes_on`,
    /// which is told how many parts are left.
    pub fn read_ahead(&self, goes_on: impl Fn(usize) -> bool) -> Result<()> {
        let parts: Vec<Unread> = self.index.look(|inside, _| inside.unread()).into_iter().collect();
        // The newest lots, and what stands open, are asked for most.
        for (at, part) in parts.iter().enumerate().rev() {
            if !goes_on(at + 1) {
                return Ok(());
            }
            self.read_in(&BTreeSet::from([*part]))?;
        }
        goes_on(0);
        Ok(())
    }

    pub(crate) fn read_in(&self, parts: &BTreeSet<Unread>) -> Result<()> {
        self.read_at_once(|conn| Ok(self.index.read_in(conn, parts)?))
    }

    fn holds_all_before(&self, request: &Request) -> bool {
        let last = request.as_of.or_else(|| self.last_commit_of_all());
        last.is_some_and(|last| last <= self.index.position())
    }
}
