//! Words on a label, with what stands out in them.

/// How a piece of text stands on the label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tone {
    /// As the rest.
    Plain,
    /// What opens a list or a statement: “Ingredients:”.
    Heading,
    /// The name of an allergen, which must stand out from the rest.
    Allergen,
}

/// A piece of text in one tone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Span {
    /// The text, with the blanks that belong to it.
    pub text: String,
    /// How it stands out.
    pub tone: Tone,
}

/// A text made of spans. No two neighbours have the same tone.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wording {
    spans: Vec<Span>,
}

impl Wording {
    /// One that opens with a heading: “Contains: ”.
    pub(super) fn under(heading: &str) -> Self {
        let mut wording = Self::default();
        wording.push(heading, Tone::Heading);
        wording.push(" ", Tone::Plain);
        wording
    }

    pub(super) fn push(&mut self, text: &str, tone: Tone) {
        if text.is_empty() {
            return;
        }
        match self.spans.last_mut() {
            Some(last) if last.tone == tone => last.text.push_str(text),
            _ => self.spans.push(Span { text: text.to_owned(), tone }),
        }
    }

    pub(super) fn append(&mut self, other: &Self) {
        for span in &other.spans {
            self.push(&span.text, span.tone);
        }
    }

    /// Several in a row, with `between` between them.
    pub(super) fn append_all(&mut self, others: impl IntoIterator<Item = Self>, between: &str) {
        for (position, other) in others.into_iter().enumerate() {
            if position > 0 {
                self.push(between, Tone::Plain);
            }
            self.append(&other);
        }
    }

    /// The spans in the order they are read.
    pub fn spans(&self) -> &[Span] {
        &self.spans
    }

    /// The text without its tones.
    pub fn text(&self) -> String {
        self.spans.iter().map(|span| span.text.as_str()).collect()
    }

    /// What stands out as an allergen, in the order it is read.
    pub fn allergens(&self) -> Vec<&str> {
        let standing_out = self.spans.iter().filter(|span| span.tone == Tone::Allergen);
        standing_out.map(|span| span.text.as_str()).collect()
    }
}
