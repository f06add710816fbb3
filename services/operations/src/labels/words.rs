//! The words of a label, from what is recorded of the lot and all that went into it.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use tubtrail_domain::allergens::{self, Declared};
use tubtrail_domain::labels::{
    DateKind, Despite, Inside, LabelAsked, LabelField, ListOnLabel, Shown, Tone, WentIn, Wording, compose,
    date_wording, gathered, least_letter_height, net_quantity,
};
use tubtrail_domain::quantity::Mass;
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_storage::contents::StatedInput;
use tubtrail_storage::labels::{ItemLabelVersionRow, item_labels_of, makers_in_use, own_gtin_of};
use tubtrail_storage::lots::{LotRow, UntrackedInputRow, lots_by_ids, lots_of_batch};
use tubtrail_storage::master_data::{ItemRow, Maker, item_rows};
use tubtrail_storage::search::{NamedBatch, item_labels, named_batches, untracked_of_batches};
use tubtrail_storage::{AnyConnection, StorageError};

use super::outline::{Made, Outline};
use super::{CAUTION, Label, LabelCode, LabelDate, LabelPiece, LabelTone, codes};
use crate::allergen_words::AllergenList;
use crate::deliveries::{Expiry, ExpiryKind, expiry};
use crate::error::{OperationError, Result};
use crate::index::Index;
use crate::index::contents::declares;
use crate::item_labels::{MadeOf, made_of, shown_of};
use crate::lots::{self, LotKind};
use crate::names::Names;
use crate::standing::{Keeper, Standing};
use crate::{fields, makers, problems};

/// Letters on what stays in the house, in micrometres: no law asks for more (common practice, no source).
const LEAST_IN_HOUSE: u32 = 900;

/// What is looked up for the label of a lot.
pub(super) struct Words<'a> {
    lot: &'a LotRow,
    number: String,
    kind: LotKind,
    now: NaiveDateTime,
    index: &'a Index,
    law: allergens::AllergenList,
    maker: Option<Maker>,
    /// What labels say of items, by item.
    labels: HashMap<i64, ItemLabelVersionRow>,
    items: HashMap<i64, ItemRow>,
    /// Code and name in the house, by item.
    names: HashMap<i64, (String, String)>,
}

impl<'a> Words<'a> {
    pub(super) fn of(
        conn: &mut AnyConnection,
        index: &'a Index,
        lot: &'a LotRow,
        jurisdiction: Option<AllergenList>,
        now: NaiveDateTime,
    ) -> Result<Self> {
        let maker = makers_in_use(conn)?.into_iter().next();
        let of_maker = maker.as_ref().map(|maker| makers::jurisdiction(&maker.current)).transpose()?;
        let law = jurisdiction.map(Into::into).or(of_maker).unwrap_or(allergens::AllergenList::Eu);
        let (number, kind) = (lots::number(lot)?.to_string(), LotKind::of(lot)?);
        let (labels, items, names) = (HashMap::new(), HashMap::new(), HashMap::new());
        Ok(Self { lot, number, kind, now, index, law, maker, labels, items, names })
    }

    pub(super) fn label(
        mut self,
        conn: &mut AnyConnection,
        outline: &Outline,
        standing: &Standing,
        recalled: Option<&Keeper>,
        despite: Option<&Despite>,
    ) -> Result<Label> {
        let mut notices = self.against(standing, recalled, despite)?;
        let went_in = self.went_in(conn, outline)?;
        let net = net_quantity(self.law, mass(self.lot.mass_mg)?);
        let dates = self.dates(conn)?;
        let storage = self.storage();
        let maker = self.maker_lines();
        let asked = LabelAsked {
            law: self.law,
            list: if self.kind == LotKind::Received { ListOnLabel::LeftOut } else { ListOnLabel::Printed },
            traces: outline.content.may_contain,
            unknown_traces: outline.content.unknown,
            missing: self.missing(net.as_ref(), &dates, &storage, &maker),
            despite: despite.cloned(),
        };
        let composition = compose(&went_in, &asked)
            .map_err(|refusal| OperationError::new(&problems::LABEL_UNKNOWN, refusal).about([self.number.clone()]))?;
        notices.extend(composition.notice.clone());
        let gtin = if self.kind == LotKind::Received { None } else { own_gtin_of(conn, self.lot.item_id)? };
        Ok(Label {
            item: self.item_names(self.lot.item_id)?.0.clone(),
            jurisdiction: self.law.into(),
            language: "en".to_owned(),
            name: self.name()?,
            subtitle: self.subtitle(conn)?,
            ingredients: composition.ingredients.as_ref().map(pieces).unwrap_or_default(),
            statements: composition.statements().map(pieces).collect(),
            notices,
            net_quantity: net,
            dates,
            storage,
            maker,
            codes: self.codes(gtin.as_deref())?,
            gtin,
            least_letters_micrometres: self.least_letters(),
            warnings: self.warnings(conn, standing)?,
            caution: CAUTION.to_string(),
            kind: self.kind,
            lot: self.number,
        })
    }

    /// What speaks against a label at all: refused, or said on it where it is ordered despite that.
    fn against(
        &self,
        standing: &Standing,
        recalled: Option<&Keeper>,
        despite: Option<&Despite>,
    ) -> Result<Vec<String>> {
        let mut found = Vec::new();
        if recalled.is_some() {
            found.push((&problems::LOT_RECALLED, standing.said_of_recall(recalled)?));
        }
        if let Some(rejection) = &standing.rejection {
            let why = rejection.reason.trim_end_matches('.');
            found.push((
                &problems::LOT_REJECTED,
                say!("Lot {number} was rejected: {why}. Do not use it.", number = self.number, why),
            ));
        }
        match (found.first(), despite) {
            (Some((problem, detail)), None) => {
                let detail = say!("{detail} A label is printed only with a reason.", detail);
                Err(OperationError::new(problem, detail).about([self.number.clone()]))
            }
            _ => Ok(found.into_iter().map(|(_, detail)| detail.to_string()).collect()),
        }
    }

    /// What went in, through everything made on the way.
    fn went_in(&mut self, conn: &mut AnyConnection, outline: &Outline) -> Result<Vec<WentIn>> {
        let lots = lots_by_ids(conn, &outline.lots())?;
        let untracked = untracked_of_batches(conn, &outline.batches())?;
        let batches = named_batches(conn, &outline.batches())?;
        let mut item_ids: Vec<i64> = lots.iter().map(|lot| lot.item_id).collect();
        item_ids.extend(untracked.iter().map(|input| input.item_id));
        item_ids.sort_unstable();
        item_ids.dedup();
        self.labels = item_labels_of(conn, &item_ids)?;
        self.names = item_labels(conn, &item_ids)?;
        self.items = item_rows(conn, &item_ids)?.into_iter().map(|item| (item.id, item)).collect();
        let lots: HashMap<i64, LotRow> = lots.into_iter().map(|lot| (lot.id, lot)).collect();
        let mut made: HashMap<i64, (Vec<WentIn>, Mass)> = HashMap::new();
        for batch in &outline.making {
            let mut parts = self.lots_in(batch, outline, &lots, &made)?;
            for input in untracked.iter().filter(|input| input.batch_id == batch.batch) {
                parts.push(self.without_a_lot(input, &batches)?);
            }
            made.insert(batch.batch, (gathered(parts), mass(batch.weight_mg)?));
        }
        let whole = self.one(self.lot, mass(outline.mass_mg)?, outline, &made)?;
        Ok(match whole.inside {
            Inside::Made { parts, weight, .. } => {
                let inside = Inside::Made { parts, weight, shown: Shown::Dispersed };
                gathered(vec![WentIn { label_name: Some(self.name()?), inside, ..whole }])
            }
            // Its supplier's own label has the list.
            _ => vec![WentIn { label_name: Some(self.name()?), inside: Inside::Single, ..whole }],
        })
    }

    fn lots_in(
        &self,
        batch: &Made,
        outline: &Outline,
        lots: &HashMap<i64, LotRow>,
        made: &HashMap<i64, (Vec<WentIn>, Mass)>,
    ) -> Result<Vec<WentIn>> {
        let each = batch.uses.iter().map(|(row, mg)| {
            let missing = || StorageError::Corrupt(format!("lot row {row} is in the graph alone"));
            self.one(lots.get(row).ok_or_else(missing)?, mass(*mg)?, outline, made)
        });
        each.collect()
    }

    /// So much of a lot.
    fn one(
        &self,
        lot: &LotRow,
        mass: Mass,
        outline: &Outline,
        made: &HashMap<i64, (Vec<WentIn>, Mass)>,
    ) -> Result<WentIn> {
        let declared = outline.declared.get(&lot.id).copied().unwrap_or(Declared::NOTHING_STATED);
        let mut one = self.bought(lot.item_id, mass, declared)?;
        if let Some(batch) = lot.batch_id {
            let missing = || StorageError::Corrupt(format!("batch {batch} comes after what it made"));
            let (parts, weight) = made.get(&batch).cloned().ok_or_else(missing)?;
            let kind = self.items.get(&lot.item_id).map_or("", |item| item.kind.as_str());
            one.inside = Inside::Made { parts, weight, shown: shown_of(self.labels.get(&lot.item_id), kind)? };
        }
        Ok(one)
    }

    /// So much of something kept without lots: by the statement that held for it on the day of its batch.
    fn without_a_lot(&self, input: &UntrackedInputRow, batches: &HashMap<i64, NamedBatch>) -> Result<WentIn> {
        let missing = || StorageError::Corrupt(format!("untracked input {} names a missing batch", input.id));
        let batch = &batches.get(&input.batch_id).ok_or_else(missing)?.batch;
        let stated = StatedInput {
            batch_id: batch.id,
            item_id: input.item_id,
            site_id: batch.site_id,
            started_at: batch.started_at,
            batch_entry: batch.entry,
        };
        let content = self.index.look(|inside, _| inside.contents.of_inputs(&inside.contents.statements, &[stated]))?;
        self.bought(input.item_id, mass(input.mass_mg)?, declares(content))
    }

    fn bought(&self, item_id: i64, mass: Mass, declared: Declared) -> Result<WentIn> {
        let said = self.labels.get(&item_id);
        let inside = match said.map(made_of).transpose()? {
            Some(MadeOf::Single) => Inside::Single,
            Some(MadeOf::Listed { ingredients }) => Inside::Listed(ingredients),
            Some(MadeOf::NotKnown | MadeOf::WhatWentIn) | None => Inside::NotKnown,
        };
        Ok(WentIn {
            item: self.item_names(item_id)?.1.clone(),
            label_name: said.map(|said| said.name.clone()),
            mass,
            declared,
            sugars_based: said.is_some_and(|said| said.sugars_based),
            percent_shown: said.is_some_and(|said| said.percent_shown),
            inside,
        })
    }

    fn item_names(&self, item_id: i64) -> Result<&(String, String)> {
        Ok(self.names.get(&item_id).ok_or_else(|| StorageError::Corrupt(format!("item row {item_id} is missing")))?)
    }

    fn is_tub(&self) -> bool {
        self.kind == LotKind::Tub
    }

    fn own(&self) -> Option<&ItemLabelVersionRow> {
        self.labels.get(&self.lot.item_id)
    }

    /// Its name on labels; until it has one, that in the house.
    fn name(&self) -> Result<String> {
        match self.own() {
            Some(said) => Ok(capital(&said.name)),
            None => Ok(self.item_names(self.lot.item_id)?.1.clone()),
        }
    }

    /// What a tub, which leaves the house, must say and does not.
    fn missing(
        &self,
        net: Option<&String>,
        dates: &[LabelDate],
        storage: &[String],
        maker: &[String],
    ) -> Vec<LabelField> {
        if !self.is_tub() {
            return Vec::new();
        }
        let keeps = storage.is_empty().then_some(LabelField::Storage);
        let checks = [
            self.own().is_none().then_some(LabelField::Name),
            net.is_none().then_some(LabelField::NetQuantity),
            dates.is_empty().then_some(LabelField::Date),
            keeps,
            maker.is_empty().then_some(LabelField::Maker),
        ];
        checks.into_iter().flatten().collect()
    }

    fn subtitle(&self, conn: &mut AnyConnection) -> Result<String> {
        Ok(match (self.kind, self.lot.batch_id) {
            (LotKind::Tub, Some(batch)) => {
                let tubs: Vec<i64> =
                    lots_of_batch(conn, batch)?.iter().filter(|lot| lot.kind == "tub").map(|lot| lot.id).collect();
                let place = tubs.iter().position(|id| *id == self.lot.id).map_or(0, |at| at + 1);
                format!("Tub {place} of {}", tubs.len())
            }
            (LotKind::Received, _) => match &self.lot.supplier_lot_code {
                Some(code) => format!("Received lot · their lot {code}"),
                None => "Received lot".to_owned(),
            },
            (kind, _) => capital(kind.word()),
        })
    }

    /// The last day, and for what stays in the house, or has none, the day it came to be.
    fn dates(&self, conn: &mut AnyConnection) -> Result<Vec<LabelDate>> {
        let last = expiry(self.lot.expires_on, self.lot.expiry_kind.as_deref());
        let mut dates: Vec<LabelDate> = last.map(|last| self.last_day(last)).transpose()?.into_iter().collect();
        let site = Names::default().site(conn, self.lot.site_id)?.clone();
        let came = fields::day_at(&site, self.lot.came_to_be_at)?;
        match self.kind {
            LotKind::Received => {
                let made = self.date(DateKind::Made, came)?;
                dates.push(LabelDate { label: "Received".to_owned(), ..made });
            }
            // The EU wants the last day, and another date is none (Regulation (EU) 1169/2011 art. 9(1)(f)).
            LotKind::Tub if last.is_some() || self.law == allergens::AllergenList::Eu => (),
            LotKind::Tub => dates.push(self.date(DateKind::Packed, came)?),
            _ => dates.push(self.date(DateKind::Made, came)?),
        }
        Ok(dates)
    }

    fn last_day(&self, last: Expiry) -> Result<LabelDate> {
        let kind = match last.kind {
            ExpiryKind::BestBefore => DateKind::BestBefore,
            ExpiryKind::UseBy => DateKind::UseBy,
        };
        // What stays in the house keeps the word it came with.
        if self.is_tub() || self.law != allergens::AllergenList::Ca || kind != DateKind::UseBy {
            return self.date(kind, last.on);
        }
        Ok(LabelDate { label: "Use by".to_owned(), ..self.date(DateKind::BestBefore, last.on)? })
    }

    fn date(&self, kind: DateKind, on: NaiveDate) -> Result<LabelDate> {
        let wording = date_wording(self.law, kind, on)
            .map_err(|error| OperationError::new(&problems::LABEL_DATE, error).about([self.number.clone()]))?;
        Ok(LabelDate { label: wording.label.to_owned(), date: wording.date, on })
    }

    fn storage(&self) -> Vec<String> {
        let Some(said) = self.own() else { return Vec::new() };
        let opened = said.opened_days.map(|days| {
            let days = if days == 1 { "1 day".to_owned() } else { format!("{days} days") };
            format!("Once opened, use within {days}.")
        });
        said.storage.clone().into_iter().chain(opened).collect()
    }

    /// Only what leaves the house says who made it.
    fn maker_lines(&self) -> Vec<String> {
        let Some(maker) = self.maker.as_ref().filter(|_| self.is_tub()) else { return Vec::new() };
        std::iter::once(maker.current.name.as_str()).chain(maker.current.address.lines()).map(str::to_owned).collect()
    }

    fn codes(&self, gtin: Option<&str>) -> Result<Vec<LabelCode>> {
        let Some(gtin) = gtin else { return Ok(codes::of_number(&self.number)) };
        let last = expiry(self.lot.expires_on, self.lot.expiry_kind.as_deref());
        let stem = self.maker.as_ref().map(|maker| makers::stem_of(&maker.current));
        codes::of_article(gtin, &self.number, last, stem.unwrap_or(tubtrail_domain::gs1::digital_link::CANONICAL_STEM))
    }

    fn least_letters(&self) -> u32 {
        if !self.is_tub() {
            return LEAST_IN_HOUSE;
        }
        let surface = self.own().and_then(|said| said.largest_surface_cm2).and_then(|cm2| u32::try_from(cm2).ok());
        least_letter_height(self.law, surface)
    }

    fn warnings(&self, conn: &mut AnyConnection, standing: &Standing) -> Result<Vec<Saying>> {
        let mut warnings = Vec::new();
        if let Some(hold) = &standing.hold {
            warnings.push(standing.said_of_hold(&hold.reason)?);
        }
        let site = Names::default().site(conn, self.lot.site_id)?.clone();
        let today = fields::day_at(&site, self.now)?;
        if let Some(last) = self.lot.expires_on.filter(|last| *last < today) {
            warnings.push(say!("The last day of lot {number} was {last}.", number = self.number, last));
        }
        Ok(warnings)
    }
}

fn mass(mg: i64) -> Result<Mass> {
    let corrupt = |error| StorageError::Corrupt(format!("a mass of {mg} mg: {error}"));
    Ok(Mass::from_mg(mg).map_err(corrupt)?)
}

/// With its first letter large.
fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().chain(characters).collect())
}

fn pieces(wording: &Wording) -> Vec<LabelPiece> {
    let piece = |span: &tubtrail_domain::labels::Span| LabelPiece {
        text: span.text.clone(),
        tone: match span.tone {
            Tone::Plain => LabelTone::Plain,
            Tone::Heading => LabelTone::Heading,
            Tone::Allergen => LabelTone::Allergen,
        },
    };
    wording.spans().iter().map(piece).collect()
}
