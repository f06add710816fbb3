//! What came out, as it is being weighed: it stands in the form alone until all of it is written down.

use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use tubtrail_operations::completions::{NewCompletion, NewOutput, OutputKind};
use tubtrail_operations::items::ItemKind;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::{OperationError, QuantityEntered};

use crate::pages::fields::Fields;
use crate::pages::figures::number;
use crate::pages::texts::Texts;

/// Most different weights, and most of one weight.
const MOST: usize = 500;

/// So many of one weight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Weight {
    pub kind: String,
    pub count: String,
    pub grams: String,
}

/// What came out so far.
#[derive(Clone, Debug, Default)]
pub struct Weighed {
    pub weights: Vec<Weight>,
    pub note: String,
    /// It was said to be all, though nothing was written down of some lines of the recipe.
    pub asks: bool,
}

impl Weighed {
    /// Reads a form; what was typed last, and not taken in yet, is among it.
    pub fn read(fields: &Fields) -> Self {
        let text = |name: &str| fields.get(name).unwrap_or("").trim().to_owned();
        let row = |at: usize| {
            let name = |part: &str| format!("weights[{at}].{part}");
            fields.all(&name("grams")).next()?;
            Some(Weight { kind: text(&name("kind")), count: text(&name("count")), grams: text(&name("grams")) })
        };
        let mut weights: Vec<Weight> = (0..MOST).map_while(row).collect();
        if !text("grams").is_empty() {
            weights.push(Weight { kind: text("kind"), count: text("count"), grams: text("grams") });
        }
        Self { weights, note: text("note"), asks: false }
    }

    /// Forgets a weight.
    pub fn drop_weight(&mut self, at: usize) {
        if at < self.weights.len() {
            self.weights.remove(at);
        }
    }

    /// As the operation takes it, each lot by itself.
    pub fn to_new(&self, texts: &Texts) -> Result<NewCompletion, OperationError> {
        let mut outputs = Vec::new();
        for (at, weight) in self.weights.iter().enumerate() {
            let invalid =
                |part: &str, detail: Saying| Err(OperationError::invalid(format!("weights[{at}].{part}"), detail));
            let Some(kind) = OutputKind::ALL.into_iter().find(|kind| kind.word() == weight.kind) else {
                return invalid("kind", say!("say what came out"));
            };
            let count = if weight.count.is_empty() { Some(1) } else { weight.count.parse().ok() };
            let Some(count) = count.filter(|count| (1..=MOST).contains(count)) else {
                return invalid("count", say!("how many of this weight, 1 to 500"));
            };
            let quantity = QuantityEntered { amount: Amount(number(texts, &weight.grams)), unit: "g".into() };
            outputs.extend(vec![NewOutput { kind, quantity, item: None, expiry: None }; count]);
        }
        let note = Some(self.note.clone()).filter(|note| !note.is_empty());
        Ok(NewCompletion { completed_at: None, outputs, note })
    }

    /// The field of the form that shows a field of the operation.
    pub fn place(&self, field: &str) -> Option<String> {
        if field.starts_with("weights[") || field == "note" {
            return Some(field.to_owned());
        }
        let output = field.strip_prefix("outputs[")?.split_once(']')?.0.parse::<usize>().ok()?;
        let mut before = 0;
        let at = self.weights.iter().position(|weight| {
            before += weight.count.parse::<usize>().unwrap_or(1);
            output < before
        });
        at.map(|at| format!("weights[{at}].{}", if field.ends_with("kind") { "kind" } else { "grams" }))
    }
}

/// What may come of a recipe, by what it makes: what it is for, first.
pub fn kinds(makes: ItemKind) -> Vec<OutputKind> {
    OutputKind::ALL.into_iter().filter(|kind| kind.comes_of(makes)).collect()
}

#[cfg(test)]
mod tests {
    use super::{Fields, Texts, Weighed};

    #[test]
    fn so_many_of_a_weight_are_lots_each() {
        let texts = &Texts::all()[0];
        let mut weighed = Weighed::read(&Fields::parse(
            b"weights[0].kind=tub&weights[0].count=2&weights[0].grams=2200&kind=tub&count=&grams=2150,5",
        ));
        let new = weighed.to_new(texts).expect("weights");
        let grams: Vec<&str> = new.outputs.iter().map(|output| output.quantity.amount.0.as_str()).collect();
        assert_eq!(grams, ["2200", "2200", "2150.5"]);
        assert_eq!(weighed.place("outputs[1].quantity.amount").as_deref(), Some("weights[0].grams"));
        assert_eq!(weighed.place("outputs[2].kind").as_deref(), Some("weights[1].kind"));
        weighed.weights[1].count = "many".into();
        let error = weighed.to_new(texts).expect_err("many is no number");
        assert_eq!(error.field.as_deref(), Some("weights[1].count"));
    }
}
