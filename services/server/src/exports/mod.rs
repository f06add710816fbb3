//! Records for others: events as EPCIS, and the spreadsheets and plain files that food law asks for.

mod epcis;
mod fsma204;
mod identifiers;
mod sfcr;

pub use self::epcis::send as send_epcis;
pub use self::fsma204::source as fsma204;
pub use self::sfcr::source as sfcr;

use tubtrail_documents::report::{Cell, Column, ColumnKind, Head, Table, TableFoot, TableHead};
use tubtrail_operations::exports::{Goods, Party, TrackingEvents};
use tubtrail_operations::trace::CAUTION;

use crate::reports::text;

/// What such a file is about.
fn head(title: &str, notices: &[&str], events: &TrackingEvents) -> Head {
    let day = |day: Option<chrono::NaiveDate>| day.map_or_else(|| "not bounded".to_owned(), |day| day.to_string());
    let fact = |label: &str, value: String| (label.to_owned(), value);
    let items = if events.items().is_empty() { "all".to_owned() } else { events.items().join(", ") };
    let footer = format!("{title}, journal position {}", events.journal_position);
    Head {
        title: title.to_owned(),
        subtitle: None,
        facts: vec![
            fact("Of", events.of.clone()),
            fact("From", day(events.days.0)),
            fact("Until", day(events.days.1)),
            fact("Items", items),
            fact("Journal position", events.journal_position.to_string()),
        ],
        notices: notices.iter().map(|notice| (*notice).to_owned()).chain([CAUTION.to_string()]).collect(),
        footer,
        language: "en".into(),
    }
}

/// What the columns carry, for whoever reads the spreadsheet.
fn summary(title: &str, rows: &[(&str, &str)]) -> Table {
    let columns = vec![Column::new("Column", ColumnKind::Text), Column::new("What it carries", ColumnKind::Text)];
    let row = |(column, carries): &(&str, &str)| vec![Cell::text(*column), Cell::text(*carries)];
    Table {
        head: TableHead { title: title.to_owned(), columns },
        rows: rows.iter().map(row).collect(),
        foot: TableFoot::default(),
    }
}

/// The code of a lot as whoever gave it writes it: the supplier's own, or our number for what is made here.
fn lot_code(goods: &Goods) -> Option<String> {
    goods.supplier_lot_code.clone().or_else(|| goods.lot.clone())
}

/// Name and address, each on one line.
fn party(party: Option<&Party>) -> [Cell; 2] {
    let one_line = |address: &String| address.lines().map(str::trim).collect::<Vec<_>>().join(", ");
    [text(party.map(|party| party.name.clone())), text(party.and_then(|party| party.address.as_ref()).map(one_line))]
}

/// What is not recorded of a row, in words, so that nothing is taken for known that is not.
#[derive(Default)]
struct Gaps(Vec<String>);

impl Gaps {
    fn note(&mut self, is_missing: bool, what: &str) {
        if is_missing {
            self.0.push(what.to_owned());
        }
    }

    fn place(&mut self, party: Option<&Party>, what: &str) {
        match party {
            None => self.note(true, what),
            Some(party) => self.note(party.address.is_none(), &format!("address of the {what}")),
        }
    }

    fn cell(self) -> Cell {
        if self.0.is_empty() { Cell::Empty } else { Cell::text(self.0.join("; ")) }
    }
}
