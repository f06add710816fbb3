//! The allergen sheet of a site: every flavour in the case by every allergen of a list, from the tubs that stand open and not
//! from recipes.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use tubtrail_domain::allergens::{self, Substance};
use tubtrail_domain::say;
use tubtrail_lineage::{Content, Scratch};
use utoipa::ToSchema;

use crate::allergen_checks::case::Case;
use crate::allergen_checks::{CAUTION, Served};
use crate::allergen_words::{AllergenList, Answer, words_of};
use crate::error::{OperationError, Result};
use crate::fields;
use crate::index::contents::declares;
use crate::index::names::KeptSite;
use crate::index::{Answered, Inside, lot_ix};
use crate::lots::HoldShown;
use crate::reach::{self, Request};
use crate::tubtrail::Tubtrail;

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
    /// The numbers of the recalls that keep it: it must not be served.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub recalls: Vec<i64>,
}

impl Tubtrail {
    /// The allergen sheet of a site as it stands, by one of the lists.
    pub fn allergen_sheet(&self, request: &Request, site: &str, list: AllergenList) -> Result<AllergenSheet> {
        let now = (self.clock)();
        let draw = |inside: &Inside, _: &mut Scratch| {
            let site = kept_site_addressed(inside, request, site)?;
            let case = Case::at(inside, site.site.row.id, now)?;
            let each = case.open_lots().into_iter().map(|lot| Ok((lot, case.content(inside, lot)?)));
            let contents = each.collect::<Result<Vec<_>>>()?;
            let columns = columns(list.into(), &contents);
            Ok(AllergenSheet {
                site: site.site.row.code.clone(),
                name: site.site.current.name.clone(),
                day: fields::day_at(&site.site, now)?,
                asked_at: fields::utc(now),
                clock: fields::wall_clock_in(site.zone, now),
                journal_position: inside.position,
                list,
                law: allergens::AllergenList::from(list).law().to_owned(),
                served: case.served_at(now),
                caution: CAUTION.to_string(),
                rows: rows(inside, &columns, &contents)?,
                columns: columns.into_iter().map(|(column, _)| column).collect(),
            })
        };
        self.answer_of(request, draw)
    }
}

/// The site a request's address names, for someone who may see its sheet.
fn kept_site_addressed<'a>(inside: &'a Inside, request: &Request, code: &str) -> Result<&'a KeptSite> {
    let found = inside.beside.names.site_of_code(code).filter(|kept| request.actor.reaches(kept.site.row.id));
    let kept = found.ok_or_else(|| OperationError::not_found(say!("site"), code))?;
    request.actor.may(&reach::SHOW_ALLERGEN_SHEET, kept.site.row.id)?;
    Ok(kept)
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

fn rows(inside: &Inside, columns: &[(SheetColumn, u64)], contents: &[(i64, Content)]) -> Answered<Vec<SheetRow>> {
    let mut rows: BTreeMap<(String, String), SheetRow> = BTreeMap::new();
    for (lot, content) in contents {
        let ix = lot_ix(*lot)?;
        let card = inside.lot_card(ix)?;
        let item = inside.beside.names.item(card.sort.item_id)?;
        let (item, name) = (item.row.code.clone(), item.current.name.clone());
        let answers = columns.iter().map(|(_, mask)| Answer::from(declares(*content).answer_to(*mask)));
        let row = rows.entry((name.clone(), item.clone())).or_insert_with(|| SheetRow {
            item,
            name,
            tubs: Vec::new(),
            answers: vec![Answer::NotRecorded; columns.len()],
        });
        row.tubs.push(SheetTub {
            lot: card.number.to_string(),
            on_hold: inside.hold_shown(*lot),
            recalls: inside.recalls_keeping(ix),
        });
        for (worst, answer) in row.answers.iter_mut().zip(answers) {
            *worst = answer.min(*worst);
        }
    }
    Ok(rows.into_values().collect())
}
