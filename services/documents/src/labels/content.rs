//! What stands on a label, and what it is printed on.

use std::fmt;

/// Everything that stands on a label. What is left empty is not on it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LabelContent {
    /// What it is called.
    pub name: String,
    /// A line below the name: “Tub 2 of 5”, “Component”, “Received lot”.
    pub subtitle: String,
    /// The list of ingredients, with its heading.
    pub ingredients: LabelText,
    /// What follows the list with nothing between: “Contains”, “May contain”. Each begins a line.
    pub statements: Vec<LabelText>,
    /// What must not be overlooked, in a frame: that something in it is not known.
    pub notice: String,
    /// The net quantity, as the law has it.
    pub net_quantity: String,
    /// Dates, each with what it is: “Best before”, “3 May 2027”.
    pub dates: Vec<Labelled>,
    /// The number of the lot, with what stands before it: “Lot”, “261125-0042”.
    pub lot: Labelled,
    /// The number of the trade item under its code: “GTIN”, “09520123456788”.
    pub gtin: Labelled,
    /// How to keep it.
    pub storage: String,
    /// Who made it, and where.
    pub maker: String,
    /// The codes for scanners, from left to right.
    pub codes: Vec<CodeContent>,
    /// The language of the texts as a tag of BCP 47, as in `en`.
    pub language: String,
}

impl LabelContent {
    /// What the label says, a line for each thing.
    pub(super) fn lines(&self) -> Vec<String> {
        let mut lines = vec![self.name.clone(), self.subtitle.clone(), self.ingredients.text()];
        lines.extend(self.statements.iter().map(LabelText::text));
        lines.extend([self.notice.clone(), self.lot.text()]);
        lines.extend(self.dates.iter().map(Labelled::text));
        lines.extend([self.net_quantity.clone(), self.gtin.text(), self.storage.clone(), self.maker.clone()]);
        lines.retain(|line| !line.is_empty());
        lines
    }

    /// Every text that is printed, and the part it is of.
    pub(super) fn texts(&self) -> Vec<(LabelPart, &str)> {
        let mut texts = vec![(LabelPart::Name, self.name.as_str()), (LabelPart::Subtitle, &self.subtitle)];
        texts.extend(self.ingredients.pieces.iter().map(|piece| (LabelPart::Ingredients, piece.text.as_str())));
        let statements = self.statements.iter().flat_map(|statement| &statement.pieces);
        texts.extend(statements.map(|piece| (LabelPart::Statements, piece.text.as_str())));
        texts.extend([(LabelPart::Notice, self.notice.as_str()), (LabelPart::NetQuantity, &self.net_quantity)]);
        let labelled = self.dates.iter().map(|date| (LabelPart::Dates, date));
        for (part, one) in labelled.chain([(LabelPart::Lot, &self.lot), (LabelPart::Gtin, &self.gtin)]) {
            texts.extend([(part, one.label.as_str()), (part, one.value.as_str())]);
        }
        texts.extend([(LabelPart::Storage, self.storage.as_str()), (LabelPart::Maker, &self.maker)]);
        texts
    }
}

impl LabelText {
    fn text(&self) -> String {
        self.pieces.iter().map(|piece| piece.text.as_str()).collect()
    }
}

impl Labelled {
    fn text(&self) -> String {
        format!("{} {}", self.label, self.value).trim().to_owned()
    }
}

/// A text in which some pieces stand out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LabelText {
    /// The pieces, with the blanks that belong to them.
    pub pieces: Vec<TextPiece>,
}

/// A piece of a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TextPiece {
    /// The text.
    pub text: String,
    /// Whether it is in bold: a heading, or the name of an allergen.
    pub bold: bool,
}

/// A value, and what it is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Labelled {
    /// What it is: “Best before”.
    pub label: String,
    /// The value, in bold and never broken: “3 May 2027”.
    pub value: String,
}

/// A code for scanners.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CodeContent {
    /// GS1 `DataMatrix`: the element string, without the character that opens it, with U+001D where an element ends
    /// early.
    GsOneDataMatrix(String),
    /// QR code: a link, or a number of our own.
    Qr(String),
}

/// A part of a label that can be the reason why there is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LabelPart {
    /// [`LabelContent::name`].
    Name,
    /// [`LabelContent::subtitle`].
    Subtitle,
    /// [`LabelContent::ingredients`].
    Ingredients,
    /// [`LabelContent::statements`].
    Statements,
    /// [`LabelContent::notice`].
    Notice,
    /// [`LabelContent::net_quantity`].
    NetQuantity,
    /// [`LabelContent::dates`].
    Dates,
    /// [`LabelContent::lot`].
    Lot,
    /// [`LabelContent::gtin`].
    Gtin,
    /// [`LabelContent::storage`].
    Storage,
    /// [`LabelContent::maker`].
    Maker,
    /// [`LabelContent::codes`].
    Codes,
}

impl LabelPart {
    /// The name of its field in [`LabelContent`].
    pub const fn field(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::Subtitle => "subtitle",
            Self::Ingredients => "ingredients",
            Self::Statements => "statements",
            Self::Notice => "notice",
            Self::NetQuantity => "net_quantity",
            Self::Dates => "dates",
            Self::Lot => "lot",
            Self::Gtin => "gtin",
            Self::Storage => "storage",
            Self::Maker => "maker",
            Self::Codes => "codes",
        }
    }
}

impl fmt::Display for LabelPart {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(match self {
            Self::Name => "the name",
            Self::Subtitle => "the line below the name",
            Self::Ingredients => "the list of ingredients",
            Self::Statements => "what it contains and may contain",
            Self::Notice => "the notice",
            Self::NetQuantity => "the net quantity",
            Self::Dates => "the date",
            Self::Lot => "the lot number",
            Self::Gtin => "the GTIN",
            Self::Storage => "how to keep it",
            Self::Maker => "the maker",
            Self::Codes => "the code",
        })
    }
}

/// The size of a label, width by height.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum LabelSize {
    /// 60 × 40 mm.
    #[default]
    W60H40,
    /// 100 × 50 mm.
    W100H50,
}

impl LabelSize {
    /// Every size.
    pub const ALL: [Self; 2] = [Self::W60H40, Self::W100H50];

    /// The width and the height in whole millimetres.
    pub const fn millimetres(self) -> (u16, u16) {
        match self {
            Self::W60H40 => (60, 40),
            Self::W100H50 => (100, 50),
        }
    }
}

impl fmt::Display for LabelSize {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (width, height) = self.millimetres();
        write!(formatter, "{width} × {height} mm")
    }
}

/// How fine a printer's dots are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Resolution {
    /// 8 dots in a millimetre, which is 203.2 in an inch.
    #[default]
    Dpi203,
    /// 300 dots in an inch.
    Dpi300,
}

impl Resolution {
    /// Every resolution.
    pub const ALL: [Self; 2] = [Self::Dpi203, Self::Dpi300];

    /// Dots in an inch.
    pub(super) const fn per_inch(self) -> f32 {
        match self {
            Self::Dpi203 => 203.2,
            Self::Dpi300 => 300.0,
        }
    }

    /// Dots in a millimetre.
    pub(super) fn per_millimetre(self) -> f32 {
        self.per_inch() / 25.4
    }

    /// Dots in a metre, to the nearest whole one.
    pub(super) const fn per_metre(self) -> u32 {
        match self {
            Self::Dpi203 => 8000,
            Self::Dpi300 => 11_811,
        }
    }

    /// The dots of a label, width and height: 480 × 320 for 60 × 40 mm at 203 dpi. At 300 dpi to the nearest whole dot.
    pub const fn dots(self, size: LabelSize) -> (u32, u32) {
        let (width, height) = size.millimetres();
        (self.dots_along(width), self.dots_along(height))
    }

    const fn dots_along(self, millimetres: u16) -> u32 {
        match self {
            Self::Dpi203 => millimetres as u32 * 8,
            // 300 / 25.4 = 1500 / 127.
            Self::Dpi300 => (millimetres as u32 * 1500 + 63) / 127,
        }
    }
}

/// What a label is printed on, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LabelSettings {
    /// The size of the label.
    pub size: LabelSize,
    /// The dots of the printer. The modules of codes are whole dots.
    pub resolution: Resolution,
    /// The least height of a small “x”, in micrometres. The law sets it for food that is sold packed.
    pub least_letters: u32,
    /// The least height of the figures of the net quantity, in micrometres; 0 where no law asks for more than of the
    /// other letters.
    pub least_quantity_figures: u32,
}

impl Default for LabelSettings {
    /// Regulation (EU) 1169/2011 art. 13(2): 1.2 mm.
    fn default() -> Self {
        Self {
            size: LabelSize::default(),
            resolution: Resolution::default(),
            least_letters: 1200,
            least_quantity_figures: 0,
        }
    }
}
