//! Gaps: items in use of which nobody stated anything, and lots on hand that leave something unknown.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::lots::lots_by_ids;
use tubtrail_storage::master_data::{Item, Noun, Site};
use tubtrail_storage::on_hand::{StockFilter, StockKey, on_hand_after};
use tubtrail_storage::statements::items_stated_by;
use utoipa::{IntoParams, ToSchema};

use crate::allergen_checks::CAUTION;
use crate::allergen_words::{AllergenList, words_of};
use crate::batches::{code_of, item_codes};
use crate::error::Result;
use crate::fields;
use crate::index::contents::declares;
use crate::index::lot_ix;
use crate::lots::{self, LotKind};
use crate::reach::{self, Request};
use crate::tubtrail::{Tubtrail, at_once};

/// Most items and most lots that are listed.
const MOST_LISTED: usize = 500;
/// Rows read at a time.
const PAGE: i64 = 500;

/// Where to look for gaps, and by whose list.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct GapsAsked {
    /// Lots on hand at this site, by code; absent: wherever you may ask.
    #[param(max_length = 40)]
    #[serde(default)]
    pub site: Option<String>,
    /// Whose list the lots must answer to.
    #[param(inline)]
    #[serde(default)]
    pub list: AllergenList,
}

/// What is missing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"list": "eu", "items_without_statement": 1, "items": [{"item": "water", "name": "Water",
    "tracked": false}], "lots_with_unknown": 1, "lots": [{"lot": "261125-0042-7", "item": "hazelnut-paste",
    "kind": "received", "unknown": ["celery"]}], "complete": true,
    "caution": "This is what was written down: statements, uses, runs, cleans and openings. It clears nothing: what was not written down, or written down wrongly, is not in it. Ask the responsible person, and tell the customer so; local rules decide."}))]
pub struct StatementGaps {
    /// Whose list.
    pub list: AllergenList,
    /// How many ingredients in use have no statement in force today.
    pub items_without_statement: usize,
    /// Those, by code; 500 at most.
    pub items: Vec<ItemWithoutStatement>,
    /// How many lots on hand leave something unknown that the list asks for.
    pub lots_with_unknown: usize,
    /// Those, received ones first, for there it can be put right; 500 at most.
    pub lots: Vec<LotWithUnknown>,
    /// Everything that is missing is listed.
    pub complete: bool,
    /// What it does not say.
    pub caution: String,
}

/// An ingredient in use without a statement in force.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ItemWithoutStatement {
    /// Its code.
    pub item: String,
    /// Its name.
    pub name: String,
    /// Kept by lot; water is not, and needs a statement all the same.
    pub tracked: bool,
}

/// A lot on hand that leaves something unknown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LotWithUnknown {
    /// Its number.
    pub lot: String,
    /// The code of what it is.
    pub item: String,
    /// What sort of lot.
    pub kind: LotKind,
    /// The words of what is unknown and on the list.
    pub unknown: Vec<String>,
}

impl Tubtrail {
    /// What is missing: statements of items in use, and what lots on hand leave unknown.
    pub fn list_statement_gaps(&self, request: &Request, asked: &GapsAsked) -> Result<StatementGaps> {
        request.actor.may_anywhere(&reach::LIST_STATEMENT_GAPS)?;
        let now = (self.clock)();
        self.read(|conn| {
            let operation = &reach::LIST_STATEMENT_GAPS;
            let sites = fields::sites_asked(conn, asked.site.as_deref(), &request.actor, operation)?;
            let today = match &asked.site {
                Some(code) => Site::by_code(conn, code)?.map(|site| fields::day_at(&site, now)).transpose()?,
                None => None,
            };
            let items = at_once(conn, |conn| items_without(conn, today.unwrap_or_else(|| now.date())))?;
            let lots = at_once(conn, |conn| self.lots_with_unknown(conn, sites, asked.list.into()))?;
            Ok(StatementGaps {
                list: asked.list,
                items_without_statement: items.len(),
                lots_with_unknown: lots.len(),
                complete: items.len() <= MOST_LISTED && lots.len() <= MOST_LISTED,
                items: items.into_iter().take(MOST_LISTED).collect(),
                lots: at_once(conn, |conn| show(conn, &lots[..lots.len().min(MOST_LISTED)]))?,
                caution: CAUTION.to_string(),
            })
        })
    }

    /// The lots on hand that leave something unknown of a list, received ones first, then by number.
    fn lots_with_unknown(
        &self,
        conn: &mut AnyConnection,
        sites: Option<Vec<i64>>,
        list: allergens::AllergenList,
    ) -> Result<Vec<(i64, u64)>> {
        let filter = StockFilter { sites, ..StockFilter::default() };
        let (mut after, mut on_hand) = (StockKey::default(), Vec::new());
        loop {
            let page = on_hand_after(conn, &filter, &after, PAGE)?;
            let Some(end) = page.last() else { break };
            after = StockKey { site_id: end.site_id, state: end.state.clone(), lot_id: end.lot_id };
            on_hand.extend(page.iter().map(|row| row.lot_id));
        }
        on_hand.sort_unstable();
        on_hand.dedup();
        let covers = list.covers();
        let index = self.current_index(conn)?;
        index.look(|inside, _| {
            let mut found = Vec::new();
            for lot in on_hand {
                let ix = lot_ix(lot)?;
                let says = declares(inside.graph.content(ix));
                let unknown = says.unknown & !says.contains & !says.may_contain & covers;
                if unknown != 0 {
                    found.push((inside.graph.made_by(ix).is_some(), lot, unknown));
                }
            }
            found.sort_unstable();
            Ok(found.into_iter().map(|(_, lot, unknown)| (lot, unknown)).collect())
        })
    }
}

/// The ingredients in use of which nobody stated anything that is in force on a day.
fn items_without(conn: &mut AnyConnection, day: chrono::NaiveDate) -> Result<Vec<ItemWithoutStatement>> {
    let stated = items_stated_by(conn, day)?;
    let (mut after, mut found) = (String::new(), Vec::new());
    loop {
        let page = Item::page(conn, &after, PAGE)?;
        let Some(last) = page.last() else { return Ok(found) };
        after.clone_from(&last.row.code);
        let without = page
            .into_iter()
            .filter(|item| item.current.active && item.row.kind == "ingredient" && !stated.contains(&item.row.id));
        found.extend(without.map(|item| ItemWithoutStatement {
            item: item.row.code,
            name: item.current.name,
            tracked: item.current.tracked,
        }));
    }
}

fn show(conn: &mut AnyConnection, lots: &[(i64, u64)]) -> Result<Vec<LotWithUnknown>> {
    let unknown: BTreeMap<i64, u64> = lots.iter().copied().collect();
    let rows = lots_by_ids(conn, &lots.iter().map(|(lot, _)| *lot).collect::<Vec<_>>())?;
    let codes = item_codes(conn, rows.iter().map(|row| row.item_id))?;
    let shown = rows.iter().map(|row| {
        Ok(LotWithUnknown {
            lot: lots::number(row)?.to_string(),
            item: code_of(&codes, row.item_id)?,
            kind: LotKind::of(row)?,
            unknown: words_of(unknown.get(&row.id).copied().unwrap_or(0)),
        })
    });
    let mut shown = shown.collect::<Result<Vec<_>>>()?;
    shown.sort_by_key(|lot| lot.kind != LotKind::Received);
    Ok(shown)
}
