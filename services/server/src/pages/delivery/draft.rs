//! A delivery as it is being typed and scanned. It stands in the form alone, and in no table: what is half done is
//! nobody's fact.

use tubtrail_domain::decimal::Decimal;
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_operations::deliveries::{Expiry, ExpiryKind, NewDelivery, NewDeliveryLine};
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::scans::ScannedLine;
use tubtrail_operations::{OperationError, QuantityEntered};

use super::known::Known;
use crate::pages::fields::Fields;
use crate::pages::figures::{may_be_thousands, number};
use crate::pages::texts::Texts;

/// Most lines, as the operation has it.
const MOST_LINES: usize = 200;

/// In which units things arrive; any other that was scanned is kept.
const UNITS: [&str; 8] = ["kg", "g", "l", "ml", "piece", "dozen", "lb", "oz"];

/// A delivery, as far as it was typed.
#[derive(Clone, Debug, Default)]
pub struct Draft {
    pub supplier: String,
    pub document: String,
    pub note: String,
    pub lines: Vec<Line>,
    /// Codes of a label that says only a half, waiting for the other.
    pub half: Vec<String>,
    /// The line that was made of them, if any.
    pub half_line: Option<usize>,
}

/// A line, as it was typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line {
    pub item: String,
    pub lot_code: String,
    pub amount: String,
    pub unit: String,
    pub last_day: String,
    pub last_day_kind: String,
    pub temperature: String,
    pub rejected: bool,
    pub reason: String,
}

impl Draft {
    /// Reads a form.
    pub fn read(fields: &Fields) -> Self {
        let text = |name: &str| fields.get(name).unwrap_or("").trim().to_owned();
        let lines = (0..MOST_LINES).map_while(|at| Line::read(fields, at)).collect();
        Self {
            supplier: text("supplier"),
            document: text("document"),
            note: text("note"),
            lines,
            half: fields.all("half").map(str::to_owned).collect(),
            half_line: text("half_line").parse().ok(),
        }
    }

    /// As the operation takes it. What is no number or no day is refused here, as the operation would, at its field.
    pub fn to_new(&self, texts: &Texts, site: &str, known: &Known) -> Result<NewDelivery, OperationError> {
        let line = |(at, line): (usize, &Line)| {
            line.to_new(texts, known).map_err(|error| error.under(&format!("lines[{at}]")))
        };
        Ok(NewDelivery {
            supplier: self.supplier.clone(),
            site: site.to_owned(),
            document: self.document.clone(),
            arrived_at: None,
            note: filled(&self.note),
            lines: self.lines.iter().enumerate().map(line).collect::<Result<_, _>>()?,
        })
    }

    /// Takes in what a code says. What waited for this other half is filled in; one more of a lot that stands there already is
    /// added to it; anything else becomes a line.
    pub fn take(&mut self, scanned: &ScannedLine, known: &Known) -> usize {
        let new = Line::scanned(scanned, known);
        if let Some(at) = self.half_line.take().filter(|at| *at < self.lines.len()) {
            self.lines[at].fill_in(new);
            return at;
        }
        if let Some(at) = self.lines.iter().position(|line| line.is_same_lot(&new))
            && let Some(sum) = sum(&self.lines[at].amount, &new.amount)
        {
            self.lines[at].amount = sum;
            return at;
        }
        self.lines.push(new);
        self.lines.len() - 1
    }

    /// Forgets a line.
    pub fn drop_line(&mut self, at: usize) {
        if at < self.lines.len() {
            self.lines.remove(at);
            self.wait_for_nothing();
        }
    }

    /// No other half is waited for any more.
    pub fn wait_for_nothing(&mut self) {
        self.half.clear();
        self.half_line = None;
    }
}

impl Line {
    /// A line in which nothing stands but the unit that is usual.
    pub fn empty() -> Self {
        Self { unit: "kg".into(), last_day_kind: ExpiryKind::UseBy.word().into(), ..Self::default() }
    }

    /// The units to choose from; what was scanned is among them.
    pub fn units(&self) -> Vec<&str> {
        let mut units = UNITS.to_vec();
        if !self.unit.is_empty() && !units.contains(&self.unit.as_str()) {
            units.push(&self.unit);
        }
        units
    }

    fn read(fields: &Fields, at: usize) -> Option<Self> {
        let name = |part: &str| format!("lines[{at}].{part}");
        let text = |part: &str| fields.get(&name(part)).unwrap_or("").trim().to_owned();
        fields.all(&name("item")).next()?;
        Some(Self {
            item: text("item"),
            lot_code: text("supplier_lot_code"),
            amount: text("quantity.amount"),
            unit: text("quantity.unit"),
            last_day: text("expiry.on"),
            last_day_kind: text("expiry.kind"),
            temperature: text("temperature_celsius"),
            rejected: !text("rejected").is_empty(),
            reason: text("reason"),
        })
    }

    fn scanned(scanned: &ScannedLine, known: &Known) -> Self {
        let mut line = Self { item: known.name_of(&scanned.item), ..Self::empty() };
        line.lot_code = scanned.supplier_lot_code.clone().unwrap_or_default();
        if let Some(quantity) = &scanned.quantity {
            line.amount.clone_from(&quantity.amount.0);
            line.unit.clone_from(&quantity.unit);
        }
        if let Some(expiry) = &scanned.expiry {
            line.last_day = expiry.on.to_string();
            expiry.kind.word().clone_into(&mut line.last_day_kind);
        }
        line
    }

    /// Takes what another code of the same label says; what was typed meanwhile stays.
    fn fill_in(&mut self, new: Self) {
        let fill = |here: &mut String, new: String| {
            if here.is_empty() {
                *here = new;
            }
        };
        fill(&mut self.item, new.item);
        fill(&mut self.lot_code, new.lot_code);
        if self.amount.is_empty() && !new.amount.is_empty() {
            (self.amount, self.unit) = (new.amount, new.unit);
        }
        if self.last_day.is_empty() && !new.last_day.is_empty() {
            (self.last_day, self.last_day_kind) = (new.last_day, new.last_day_kind);
        }
    }

    fn is_same_lot(&self, other: &Self) -> bool {
        let lot = |line: &Self| (line.item.clone(), line.lot_code.clone(), line.unit.clone(), line.last_day.clone());
        !self.lot_code.is_empty() && lot(self) == lot(other)
    }

    fn to_new(&self, texts: &Texts, known: &Known) -> Result<NewDeliveryLine, OperationError> {
        Ok(NewDeliveryLine {
            item: known.code_of(&self.item),
            supplier_lot_code: self.lot_code.clone(),
            quantity: QuantityEntered { amount: Amount(number(texts, &self.amount)), unit: self.unit.clone() },
            expiry: self.expiry()?,
            temperature_celsius: self.temperature(texts)?,
            rejected: self.rejected,
            reason: filled(&self.reason),
        })
    }

    fn expiry(&self) -> Result<Option<Expiry>, OperationError> {
        if self.last_day.is_empty() {
            return Ok(None);
        }
        let on = self.last_day.parse().map_err(|_| {
            OperationError::invalid(
                "expiry.on",
                say!("{last_day} is no day: write it as 2026-11-25", last_day = Quoted(&self.last_day)),
            )
        })?;
        let kinds = [ExpiryKind::BestBefore, ExpiryKind::UseBy];
        let kind = kinds.into_iter().find(|kind| kind.word() == self.last_day_kind);
        let kind =
            kind.ok_or_else(|| OperationError::invalid("expiry.kind", say!("say what the day on the label means")))?;
        Ok(Some(Expiry { kind, on }))
    }

    fn temperature(&self, texts: &Texts) -> Result<Option<f64>, OperationError> {
        if self.temperature.is_empty() {
            return Ok(None);
        }
        let celsius = number(texts, &self.temperature).parse::<f64>().ok().filter(|celsius| celsius.is_finite());
        let no_number = || OperationError::invalid("temperature_celsius", say!("write it as a number, as in 4.2"));
        celsius.map(Some).ok_or_else(no_number)
    }
}

fn filled(text: &str) -> Option<String> {
    Some(text.to_owned()).filter(|text| !text.is_empty())
}

/// Two amounts of one unit together; none where one is no number for certain.
fn sum(one: &str, other: &str) -> Option<String> {
    const SCALE: u32 = 9;
    let parts = |text: &str| {
        let text = Some(text.replace(',', ".")).filter(|_| !may_be_thousands(text))?;
        text.parse::<Decimal>().ok()?;
        let (whole, rest) = text.split_once('.').unwrap_or((&text, ""));
        let rest = format!("{rest:0<width$}", width = SCALE as usize);
        Some(whole.parse::<i128>().ok()? * 10_i128.pow(SCALE) + rest.parse::<i128>().ok()?)
    };
    let sum = parts(one)?.checked_add(parts(other)?)?;
    let (whole, rest) = (sum / 10_i128.pow(SCALE), sum % 10_i128.pow(SCALE));
    let rest = format!("{rest:0width$}", width = SCALE as usize);
    let rest = rest.trim_end_matches('0');
    Some(if rest.is_empty() { whole.to_string() } else { format!("{whole}.{rest}") })
}

#[cfg(test)]
mod tests {
    use tubtrail_operations::deliveries::{Expiry, ExpiryKind};
    use tubtrail_operations::quantities::{Amount, QuantityEntered};
    use tubtrail_operations::scans::ScannedLine;

    use super::{Draft, Known, sum};

    fn scanned(lot: Option<&str>, amount: Option<&str>) -> ScannedLine {
        let on = "2026-12-09".parse().expect("a day");
        ScannedLine {
            item: "whole-milk".into(),
            supplier_lot_code: lot.map(str::to_owned),
            quantity: amount.map(|amount| QuantityEntered { amount: Amount(amount.into()), unit: "kg".into() }),
            expiry: lot.map(|_| Expiry { kind: ExpiryKind::UseBy, on }),
        }
    }

    #[test]
    fn amounts_of_one_unit_add_up() {
        assert_eq!(sum("10.000", "10.000").as_deref(), Some("20"));
        assert_eq!(sum("0,5", "0.25").as_deref(), Some("0.75"));
        assert_eq!(sum("", "1"), None);
        assert_eq!(sum("many", "1"), None);
        assert_eq!(sum("1,250", "1"), None, "it may be meant for thousands");
    }

    #[test]
    fn a_second_case_of_a_lot_is_added_to_its_line() {
        let (mut draft, known) = (Draft::default(), Known::default());
        assert_eq!(draft.take(&scanned(Some("24-118"), Some("10.000")), &known), 0);
        assert_eq!(draft.take(&scanned(Some("24-119"), Some("10.000")), &known), 1);
        assert_eq!(draft.take(&scanned(Some("24-118"), Some("10.000")), &known), 0);
        let amounts: Vec<&str> = draft.lines.iter().map(|line| line.amount.as_str()).collect();
        assert_eq!(amounts, ["20", "10.000"]);
    }

    #[test]
    fn the_other_half_of_a_label_goes_into_the_line_that_waits() {
        let (mut draft, known) = (Draft::default(), Known::default());
        let at = draft.take(&scanned(None, None), &known);
        draft.half_line = Some(at);
        draft.lines[at].amount = "7".into();
        assert_eq!(draft.take(&scanned(Some("24-118"), Some("10.000")), &known), 0);
        let line = &draft.lines[0];
        assert_eq!((line.lot_code.as_str(), line.last_day.as_str()), ("24-118", "2026-12-09"));
        assert_eq!(line.amount, "7", "what was typed stays");
    }
}
