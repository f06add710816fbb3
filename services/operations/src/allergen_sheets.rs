//! The allergen sheet of a site: every flavour in the case by every allergen of a list, from the tubs that stand open and not
//! from recipes.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::{self, Substance};
use tubtrail_lineage::Content;
use tubtrail_storage::AnyConnection;
use tubtrail_storage::lots::lots_by_ids;
use utoipa::ToSchema;

use crate::allergen_checks::case::Case;
use crate::allergen_checks::{CAUTION, Served};
use crate::allergen_words::{AllergenList, Answer, words_of};
use crate::error::Result;
use crate::fields;
use crate::index::contents::declares;
use crate::known::Known;
use crate::lots::{self, HoldShown};
use crate::reach::{self, Request};
use crate::serving_ways::site_addressed;
use crate::tubtrail::{Tubtrail, at_once};

/// The allergen sheet of a site as it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"site": "quay-shop", "name": "Shop on the quay", "day": "2026-11-25",
    "asked_at": "2026-11-25T14:10:00Z", "clock": "2026-11-25 14:10 (Europe/Lisbon)", "journal_position": 9120, "list": "eu",
    "law": "Regulation (EU) No 1169/2011, Annex II", "served": "own_scoops",
    "caution": "This is what was written down: statements, uses, runs, cleans and openings. It clears nothing: what was not written down, or written down wrongly, is not in it. Ask the responsible person, and tell the customer so; local rules decide.",
    "columns": [{"title": "Hazelnuts", "allergens": ["hazelnut"], "beyond_the_list": false}],
    "rows": [{"item": "gianduja", "name": "Gianduja", "tubs": [{"lot": "261125-0042-7"}], "answers": ["contains"]}]}))]
pub struct AllergenSheet {
    /// The site's code.
    pub site: String,
    /// Its name.
    pub name: String,
    /// The day there.
    pub day: NaiveDate,
    /// When it was asked for.
    pub asked_at: DateTime<Utc>,
    /// The same as the clock on the wall shows it there.
    pub clock: String,
    /// The last journal entry it takes into account.
    pub journal_position: i64,
    /// Whose list.
    pub list: AllergenList,
    /// The law it is from.
    pub law: String,
    /// How the site serves.
    pub served: Served,
    /// What it does not say.
    pub caution: String,
    /// The allergens of the list in the order of the law, then what is in there or may be and is on none of its lines.
    pub columns: Vec<SheetColumn>,
    /// The flavours, by name; none if nothing stands open.
    pub rows: Vec<SheetRow>,
}

/// A column of the sheet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SheetColumn {
    /// Its heading.
    pub title: String,
    /// The words of what falls under it.
    pub allergens: Vec<String>,
    /// The list does not ask for it.
    pub beyond_the_list: bool,
}

/// A flavour in the case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SheetRow {
    /// The item's code.
    pub item: String,
    /// Its name.
    pub name: String,
    /// Its tubs that stand open.
    pub tubs: Vec<SheetTub>,
    /// An answer for each column: the worst of its tubs'.
    pub answers: Vec<Answer>,
}

/// A tub in the case.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SheetTub {
    /// Its number.
    pub lot: String,
    /// The hold that keeps it: it must not be served.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_hold: Option<HoldShown>,
}

impl Tubtrail {
    /// The allergen sheet of a site as it stands, by one of the lists.
    pub fn allergen_sheet(&self, request: &Request, site: &str, list: AllergenList) -> Result<AllergenSheet> {
        let now = (self.clock)();
        self.read(|conn| {
            let (site, served, position, contents) = at_once(conn, |conn| {
                let site = site_addressed(conn, &request.actor, &reach::SHOW_ALLERGEN_SHEET, site)?;
                let case = Case::at(conn, site.row.id, now)?;
                let index = self.current_index(conn)?;
                let (position, contents) = index.look(|inside, _| {
                    let each = case.open_lots().into_iter().map(|lot| Ok((lot, case.content(inside, lot)?)));
                    Ok::<_, crate::OperationError>((inside.position, each.collect::<Result<Vec<_>>>()?))
                })?;
                Ok((site, case.served_at(now), position, contents))
            })?;
            let columns = columns(list.into(), &contents);
            Ok(AllergenSheet {
                site: site.row.code.clone(),
                name: site.current.name.clone(),
                day: fields::day_at(&site, now)?,
                asked_at: fields::utc(now),
                clock: fields::wall_clock(&site, now)?,
                journal_position: position,
                list,
                law: allergens::AllergenList::from(list).law().to_owned(),
                served,
                caution: CAUTION.to_owned(),
                rows: at_once(conn, |conn| rows(conn, &columns, &contents))?,
                columns: columns.into_iter().map(|(column, _)| column).collect(),
            })
        })
    }
}

/// The columns, each with the mask of what falls under it.
fn columns(list: allergens::AllergenList, contents: &[(i64, Content)]) -> Vec<(SheetColumn, u64)> {
    let stated = contents.iter().fold(0, |mask, (_, content)| mask | content.contains | content.may_contain);
    let of_list = list.columns().iter().map(|column| (column.title.to_owned(), column.mask, false));
    let beyond = Substance::of_mask(stated & !list.covers());
    let beyond = beyond.map(|substance| (substance.name().to_owned(), substance.bit(), true));
    let column =
        |(title, mask, beyond_the_list)| (SheetColumn { title, allergens: words_of(mask), beyond_the_list }, mask);
    of_list.chain(beyond).map(column).collect()
}

fn rows(
    conn: &mut AnyConnection,
    columns: &[(SheetColumn, u64)],
    contents: &[(i64, Content)],
) -> Result<Vec<SheetRow>> {
    let lots = lots_by_ids(conn, &contents.iter().map(|(lot, _)| *lot).collect::<Vec<_>>())?;
    let known = Known::of(conn, &lots)?;
    let mut rows: BTreeMap<(String, String), SheetRow> = BTreeMap::new();
    for lot in &lots {
        let (item, name) = known.item(lot)?;
        let content = contents.iter().find(|(id, _)| *id == lot.id).map_or(Content::UNKNOWN, |(_, content)| *content);
        let answers = columns.iter().map(|(_, mask)| Answer::from(declares(content).answer_to(*mask)));
        let row = rows.entry((name.clone(), item.clone())).or_insert_with(|| SheetRow {
            item,
            name,
            tubs: Vec::new(),
            answers: vec![Answer::NotRecorded; columns.len()],
        });
        row.tubs.push(SheetTub {
            lot: lots::number(lot)?.to_string(),
            on_hold: known.hold(lot).map(|hold| HoldShown { hold: hold.id, reason: hold.reason.clone() }),
        });
        for (worst, answer) in row.answers.iter_mut().zip(answers) {
            *worst = answer.min(*worst);
        }
    }
    Ok(rows.into_values().collect())
}
