//! What lies in what: a supplier may say which pallet left, and in an event before it what was put onto it.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, FixedOffset};
use tubtrail_domain::say;

use super::document::{MOST_OBJECTS, Object, objects};
use super::pointer::At;
use crate::error::{OperationError, Result};
use crate::problems;

/// The contents of units, as they are told.
pub(super) struct Units<'v> {
    told: Vec<Told<'v>>,
}

/// Something was put into a unit, or, where nothing stands here, taken out of it.
struct Told<'v> {
    at: DateTime<FixedOffset>,
    unit: &'v str,
    put_in: Option<Vec<Object>>,
}

impl<'v> Units<'v> {
    /// Those of some aggregation events.
    pub fn of(events: &[&At<'v>]) -> Result<Self> {
        let mut told = Vec::new();
        for event in events {
            let action = event.required("action")?;
            let put_in = match action.text()? {
                "ADD" => Some(objects(event, "childEPCs", "childQuantityList")?),
                "DELETE" => None,
                "OBSERVE" => continue,
                _ => return action.wrong(say!("write OBSERVE, ADD or DELETE")),
            };
            let unit = event.required("parentID")?.uri()?;
            told.push(Told { at: event.required("eventTime")?.time()?, unit, put_in });
        }
        Ok(Self { told })
    }

    /// Some objects at a time, and instead of each unit what was in it then. A unit of which that is not told stays what it is,
    /// and so does one from which something was taken again: what was left in it nobody said.
    pub fn unpack(&self, mut waiting: Vec<Object>, at: DateTime<FixedOffset>) -> Result<Vec<Object>> {
        let mut contents = self.contents(at);
        let mut found: Vec<Object> = Vec::new();
        let mut opened = HashSet::new();
        waiting.reverse();
        while let Some(object) = waiting.pop() {
            match contents.remove(object.uri.as_str()).flatten().filter(|inside| !inside.is_empty()) {
                Some(inside) => {
                    opened.insert(object.uri);
                    waiting.extend(inside.into_iter().rev().filter(|one| !opened.contains(&one.uri)));
                }
                None => found.push(object),
            }
            if found.len() + waiting.len() > MOST_OBJECTS {
                let detail = say!("there is more in it than {most} objects: divide the document", most = MOST_OBJECTS);
                return Err(OperationError::new(&problems::TOO_LARGE, detail).at("/epcisBody/eventList"));
            }
        }
        Ok(found)
    }

    /// By unit all that was put into it by then; nothing where something was taken out.
    fn contents(&self, at: DateTime<FixedOffset>) -> HashMap<&'v str, Option<Vec<Object>>> {
        let mut contents: HashMap<&str, Option<Vec<Object>>> = HashMap::new();
        for told in self.told.iter().filter(|told| told.at <= at) {
            let inside = contents.entry(told.unit).or_insert_with(|| Some(Vec::new()));
            match &told.put_in {
                Some(more) => inside.iter_mut().for_each(|inside| inside.extend(more.iter().cloned())),
                None => *inside = None,
            }
        }
        contents
    }
}
