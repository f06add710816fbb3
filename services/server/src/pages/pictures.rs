//! The picture of a trace on a page: what an operation tells, laid out by `documents`, with words in somebody's language.

use std::collections::{BTreeSet, HashSet};

use askama::Template;
use tubtrail_documents::picture::{
    BY_CONTACT, BoxWords, Group, GroupSort, Picture, PictureLot, PictureWords, lay_out, write,
};
use tubtrail_operations::recalls::ReachedByContact;
use tubtrail_operations::trace::{TraceHead, TraceStream, TraceTotals, TracedLot};
use tubtrail_operations::{OperationError, Request, Tubtrail};

use super::addresses::Address;
use super::figures::{in_grams, in_thousands, micrograms, share};
use super::names::Names;
use super::texts::Texts;

/// Most lots listed below a picture.
pub const MOST_LISTED: usize = 100;

/// A whole trace, read.
pub struct Gathered {
    /// What it says as a whole.
    pub head: TraceHead,
    /// What it comes to.
    pub totals: TraceTotals,
    /// Its lots, without their uses.
    pub lots: Vec<TracedLot>,
    drawn: Vec<PictureLot>,
    /// Pairs of batches, the second on the same equipment after the first.
    contacts: Vec<(i64, i64)>,
    /// Names of the sites in reach, by code.
    pub sites: Names,
}

/// A picture with the list that says the same, as part of a page.
#[derive(Template)]
#[template(path = "picture.html")]
pub struct Drawn {
    texts: &'static Texts,
    svg: String,
    /// What was opened, and the way back.
    opened: Vec<(String, String)>,
    rows: Vec<BoxRow>,
    listed: Vec<LotRow>,
    /// How many lots the list leaves out.
    more: usize,
    /// The list is of a box that was asked for.
    is_of_a_box: bool,
    whole: String,
    /// What is to be said of those that are reached by contact alone, if there are any.
    by_contact: Option<String>,
}

/// A box in words.
struct BoxRow {
    words: BoxWords,
    kind: String,
    site: String,
    lots: usize,
    grams: String,
    leads_to: String,
    list: String,
}

/// A lot in words.
struct LotRow {
    lot: String,
    name: String,
    from: String,
    grams: String,
    places: String,
    marks: String,
}

/// The picture of a trace by itself, in the usual language, with what is reached by contact alone.
pub fn drawn_alone(
    tubtrail: &Tubtrail,
    asks: &Request,
    stream: TraceStream,
    reached: ReachedByContact,
) -> Result<String, OperationError> {
    Ok(gather(tubtrail, asks, stream)?.touching(reached).draw_alone(&Texts::all()[0]))
}

/// Reads a trace to its end.
pub fn gather(tubtrail: &Tubtrail, asks: &Request, mut stream: TraceStream) -> Result<Gathered, OperationError> {
    let mut gathered = Gathered {
        head: stream.head.clone(),
        totals: TraceTotals::default(),
        lots: Vec::new(),
        drawn: Vec::new(),
        contacts: Vec::new(),
        sites: Names::of_sites(tubtrail, asks)?,
    };
    let seeds: BTreeSet<String> = gathered.head.of.iter().cloned().collect();
    while !stream.is_at_its_end() {
        let mut lots = tubtrail.more_of_trace(&mut stream)?;
        gathered.totals.add(&lots);
        gathered.drawn.extend(lots.iter_mut().map(|lot| drawn_lot(lot, seeds.contains(&lot.lot), false)));
        gathered.lots.extend(lots);
    }
    Ok(gathered)
}

/// As the picture takes it. It belongs where most of it is or went.
fn drawn_lot(lot: &mut TracedLot, is_seed: bool, by_contact: bool) -> PictureLot {
    let most = lot.places.iter().max_by_key(|place| place.grams.mg());
    PictureLot {
        number: lot.lot.clone(),
        item: lot.item.clone(),
        kind: lot.kind.word().to_owned(),
        site: most.map_or(&lot.site, |place| &place.site).clone(),
        mass_mg: lot.mass_grams.mg(),
        share_ug: micrograms(lot.grams),
        made_by: match &lot.came_from {
            tubtrail_operations::known::Origin::Batch { batch, .. } => Some(*batch),
            tubtrail_operations::known::Origin::Delivery { .. } => None,
        },
        used_in: std::mem::take(&mut lot.used_in).into_iter().map(|one| (one.batch, one.grams.mg())).collect(),
        is_seed,
        is_held: lot.on_hold.is_some(),
        is_recalled: !lot.recalls.is_empty(),
        by_contact,
    }
}

impl Gathered {
    /// The same with what is reached by contact alone.
    pub fn touching(mut self, reached: ReachedByContact) -> Self {
        // What was used meanwhile is in the trace by now.
        let known: HashSet<String> = self.lots.iter().map(|lot| lot.lot.clone()).collect();
        for mut lot in reached.lots.into_iter().filter(|lot| !known.contains(&lot.lot)) {
            self.drawn.push(drawn_lot(&mut lot, false, true));
            self.lots.push(lot);
        }
        self.contacts = reached.contacts;
        self
    }

    /// The name of a site; its code, where that is all there is.
    pub fn site<'a>(&'a self, code: &'a str) -> &'a str {
        self.sites.of(code)
    }

    /// The picture for a page at an address, whose `open` says what is opened and whose `box` which lots are listed.
    pub fn draw(&self, texts: &'static Texts, address: &Address) -> Drawn {
        let open: BTreeSet<String> = address.all("open").map(str::to_owned).collect();
        let picture = lay_out(&self.drawn, &self.contacts, &open);
        let boxes: Vec<BoxWords> =
            picture.boxes.iter().map(|placed| self.box_words(texts, &placed.group, Some(address))).collect();
        let wanted = address.all("box").next();
        let chosen =
            picture.boxes.iter().find(|placed| wanted == Some(placed.group.key.as_str())).map(|placed| &placed.group);
        let listed: Vec<usize> = match chosen {
            Some(group) => group.lots.clone(),
            None => (0..self.lots.len()).collect(),
        };
        Drawn {
            svg: write(&picture, &self.words(texts, &picture, boxes.clone())),
            opened: open.iter().map(|key| self.opened(texts, address, key)).collect(),
            rows: self.rows(texts, &picture, &boxes, address),
            more: listed.len().saturating_sub(MOST_LISTED),
            listed: listed.into_iter().take(MOST_LISTED).map(|at| self.lot_row(texts, at)).collect(),
            by_contact: self.by_contact(texts),
            is_of_a_box: chosen.is_some(),
            whole: address.without("box", "").to_string(),
            texts,
        }
    }

    /// The picture alone, without links.
    pub fn draw_alone(&self, texts: &'static Texts) -> String {
        let picture = lay_out(&self.drawn, &self.contacts, &BTreeSet::new());
        let boxes = picture.boxes.iter().map(|placed| self.box_words(texts, &placed.group, None)).collect();
        write(&picture, &self.words(texts, &picture, boxes))
    }

    fn words(&self, texts: &Texts, picture: &Picture, boxes: Vec<BoxWords>) -> PictureWords {
        let kinds = |kinds: &[String]| {
            let words: Vec<_> = kinds.iter().map(|kind| texts.say(&format!("kinds-{kind}"))).collect();
            words.join(", ")
        };
        let (lots, tubs) = (self.totals.lots.to_string(), self.totals.tubs.to_string());
        let description = texts.say_with("picture-says", &[("lots", &lots), ("tubs", &tubs)]);
        PictureWords {
            language: texts.tag.to_owned(),
            title: texts.say("picture").into_owned(),
            description: match self.by_contact(texts) {
                Some(more) => format!("{description} {more}"),
                None => description.into_owned(),
            },
            columns: picture.columns.iter().map(|column| kinds(&column.kinds)).collect(),
            lanes: picture.lanes.iter().map(|placed| self.lane(texts, &placed.lane.sites)).collect(),
            boxes,
        }
    }

    fn lane(&self, texts: &Texts, sites: &[String]) -> String {
        match sites {
            [site] => self.site(site).to_owned(),
            _ => texts.say_of("other-sites", "count", sites.len().to_string()).into_owned(),
        }
    }

    fn box_words(&self, texts: &Texts, group: &Group, address: Option<&Address>) -> BoxWords {
        let first = &self.lots[group.lots[0]];
        let kinds = texts.say(&format!("kinds-{}", group.kind));
        let name = match group.sort {
            GroupSort::Lot | GroupSort::Item => first.name.clone(),
            GroupSort::Kind => kinds.into_owned(),
            GroupSort::Rest => texts.say("the-rest").into_owned(),
        };
        let amount = self.amount(texts, group);
        let marked = self.marked(group);
        let site = self.site(&self.drawn[group.lots[0]].site);
        let marks = marked.in_words(texts, group);
        let unknown = if group.by_contact { texts.say("key-contact") } else { "".into() };
        let label = [name.as_str(), &amount, &marks, &unknown, site].into_iter().filter(|part| !part.is_empty());
        BoxWords {
            label: label.collect::<Vec<_>>().join(", "),
            amount,
            link: address.map(|address| link(address, group)),
            classes: marked.classes(group),
            name,
            marks,
        }
    }

    /// How many lots are in a box, and how much of the trace; of what is reached by contact alone nobody knows that.
    fn amount(&self, texts: &Texts, group: &Group) -> String {
        let first = &self.lots[group.lots[0]];
        let grams = share(texts, group.share_ug(&self.drawn));
        let count = group.lots.len().to_string();
        match group.sort {
            GroupSort::Lot if group.by_contact => first.lot.clone(),
            _ if group.by_contact => texts.say_of("box-of-lots", "count", count).into_owned(),
            GroupSort::Lot => texts.say_with("box-of-one", &[("lot", &first.lot), ("grams", &grams)]).into_owned(),
            _ => texts.say_with("box-of-several", &[("count", &count), ("grams", &grams)]).into_owned(),
        }
    }

    fn marked(&self, group: &Group) -> Marked {
        let drawn = || group.lots.iter().map(|at| &self.drawn[*at]);
        let counted = |is: fn(&PictureLot) -> bool| drawn().filter(|lot| is(lot)).count();
        Marked {
            recalled: counted(|lot| lot.is_recalled),
            held: counted(|lot| lot.is_held),
            seeds: counted(|lot| lot.is_seed),
        }
    }

    /// What was opened, in words, and the address where it is not.
    fn opened(&self, texts: &Texts, address: &Address, key: &str) -> (String, String) {
        let parts: Vec<&str> = key.split('~').collect();
        let kind = parts.get(2).map(|kind| kind.trim_end_matches(BY_CONTACT));
        let kind = kind.filter(|kind| self.drawn.iter().any(|lot| lot.kind == **kind));
        let kinds = kind.map_or_else(String::new, |kind| texts.say(&format!("kinds-{kind}")).into_owned());
        let item = parts.get(3).and_then(|code| self.lots.iter().find(|lot| lot.item == **code));
        let what = item.map_or(kinds, |lot| lot.name.clone());
        let site = parts.get(1).filter(|site| **site != "*").map_or("", |site| self.site(site));
        let said = [what.as_str(), site].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ");
        (texts.say_of("fold-up", "what", said).into_owned(), format!("{}#picture", address.without("open", key)))
    }

    fn rows(&self, texts: &Texts, picture: &Picture, words: &[BoxWords], address: &Address) -> Vec<BoxRow> {
        let named = |at: usize, by_contact: bool| {
            let lines = picture.lines.iter().filter(|line| line.from == at && line.by_contact == by_contact);
            let names: BTreeSet<&str> = lines.map(|line| words[line.to].name.as_str()).collect();
            names.into_iter().collect::<Vec<_>>().join(", ")
        };
        let leads_to = |at: usize| {
            let touched = Some(named(at, true)).filter(|names| !names.is_empty());
            let touched = touched.map(|names| texts.say_of("touched", "what", names).into_owned());
            [named(at, false), touched.unwrap_or_default()]
                .into_iter()
                .filter(|said| !said.is_empty())
                .collect::<Vec<_>>()
        };
        let row = |(at, words): (usize, &BoxWords)| {
            let group = &picture.boxes[at].group;
            BoxRow {
                kind: texts.say(&format!("kinds-{}", group.kind)).into_owned(),
                site: self.lane(texts, &picture.lanes[group.lane].lane.sites),
                lots: group.lots.len(),
                grams: if group.by_contact {
                    texts.say("not-known").into_owned()
                } else {
                    share(texts, group.share_ug(&self.drawn))
                },
                leads_to: leads_to(at).join("; "),
                list: format!("{}#lots", address.without("box", "").with("box", &group.key)),
                words: words.clone(),
            }
        };
        words.iter().enumerate().map(row).collect()
    }

    fn by_contact(&self, texts: &Texts) -> Option<String> {
        let count = self.drawn.iter().filter(|lot| lot.by_contact).count();
        (count > 0).then(|| texts.say_of("drawn-by-contact", "count", in_thousands(count)).into_owned())
    }

    fn lot_row(&self, texts: &Texts, at: usize) -> LotRow {
        use tubtrail_operations::known::Origin;
        let lot = &self.lots[at];
        let place = |place: &tubtrail_operations::known::Holding| {
            let state = texts.say(&format!("state-{}", place.state));
            format!("{}: {} {state}", self.site(&place.site), in_grams(texts, place.grams))
        };
        let mut marks: Vec<String> = Vec::new();
        marks.extend(
            lot.on_hold.as_ref().map(|hold| texts.say_of("held", "reason", texts.reason(&hold.reason)).into_owned()),
        );
        if !lot.recalls.is_empty() {
            let recalls = lot.recalls.iter().map(i64::to_string).collect::<Vec<_>>().join(", ");
            marks.push(texts.say_of("recalled", "recalls", recalls).into_owned());
        }
        marks.extend(lot.rejected.as_ref().map(|reason| texts.say_of("rejected", "reason", reason).into_owned()));
        LotRow {
            lot: lot.lot.clone(),
            name: lot.name.clone(),
            from: match &lot.came_from {
                Origin::Delivery { supplier, supplier_lot_code, .. } => format!("{supplier}, {supplier_lot_code}"),
                Origin::Batch { batch, name, started_at, .. } => {
                    format!("{name}, {} ({batch})", started_at.format("%Y-%m-%d"))
                }
            },
            grams: if self.drawn[at].by_contact {
                texts.say("not-known").into_owned()
            } else {
                share(texts, micrograms(lot.grams))
            },
            places: lot.places.iter().map(place).collect::<Vec<_>>().join("; "),
            marks: marks.join("; "),
        }
    }
}

/// How many lots of a box are marked, and as what.
struct Marked {
    recalled: usize,
    held: usize,
    seeds: usize,
}

impl Marked {
    fn in_words(&self, texts: &Texts, group: &Group) -> String {
        let mut marks = Vec::new();
        let kept = [(self.recalled, "key-recalled", "mark-recalled"), (self.held, "key-held", "mark-held")];
        for (count, one, several) in kept.into_iter().filter(|(count, ..)| *count > 0) {
            marks.push(match group.sort {
                GroupSort::Lot => texts.say(one),
                _ => texts.say_of(several, "count", count.to_string()),
            });
        }
        marks.extend(group.by_contact.then(|| texts.say("mark-contact")));
        marks.extend((self.seeds > 0).then(|| texts.say("mark-begins")));
        marks.join(", ")
    }

    fn classes(&self, group: &Group) -> Vec<&'static str> {
        let touched = usize::from(group.by_contact);
        let marked = [(self.recalled, "recalled"), (self.held, "held"), (self.seeds, "seed"), (touched, "contact")];
        marked.into_iter().filter(|(count, _)| *count > 0).map(|(_, class)| class).collect()
    }
}

/// Where a box leads: into a group, to the list of what is left, or to the trace of a lot.
fn link(address: &Address, group: &Group) -> String {
    match group.sort {
        GroupSort::Lot => format!("/tracing/lots/{}", group.key),
        GroupSort::Rest => format!("{}#lots", address.without("box", "").with("box", &group.key)),
        GroupSort::Item | GroupSort::Kind => {
            format!("{}#picture", address.without("open", &group.key).with("open", &group.key))
        }
    }
}
