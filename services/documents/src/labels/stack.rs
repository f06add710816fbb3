//! The parts of a label in letters of one size, one above the other, and whether they have room.

use super::content::{LabelContent, LabelPart, LabelSettings, LabelText, Labelled};
use super::error::LabelError;
use super::layout::{Area, Layout, PlacedLine, PlacedSymbol};
use super::symbol::{Modules, Symbol};
use super::text::{Block, FIGURE_HEIGHT, Run, set};
use crate::pdf::font::Fonts;

/// White at the edge of the label, in millimetres: a printer can be half a millimetre off.
const MARGIN: f32 = 1.5;
/// White between the text and the codes.
const BESIDE_CODES: f32 = 1.0;
/// A line across the label, and the white above and below it.
const RULE: f32 = 0.25;
const AROUND_RULE: f32 = 0.35;
/// The frame of the notice, and the white in it.
const FRAME: f32 = 0.375;
const IN_FRAME: f32 = 0.6;
/// How much larger than the other letters the lot number, the dates and the net quantity are, by how much larger the
/// name is.
const LOT: f32 = 0.3;
const DATE: f32 = 0.1;
const QUANTITY: f32 = 0.1;

/// How large everything is.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    /// The size of most letters, in millimetres.
    pub(super) body: f32,
    /// The size of the name, by that.
    pub(super) name: f32,
    pub(super) modules: Modules,
}

/// What has no room.
pub(super) struct Overflow {
    part: LabelPart,
    word: Option<String>,
    /// In millimetres.
    over: f32,
}

impl Overflow {
    pub(super) fn error(self, settings: LabelSettings) -> LabelError {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few metres at most, not below 0"
        )]
        let over = (self.over.max(0.0) * 10.0).ceil() as u32;
        let LabelSettings { size, least_letters, .. } = settings;
        LabelError::NoRoom { part: self.part, size, least_letters, word: self.word, over }
    }
}

/// The parts, one above the other.
pub(super) struct Stack {
    /// As wide as the label.
    upper: Vec<Item>,
    /// Beside the codes.
    lower: Vec<Item>,
    lower_height: f32,
}

/// A part of the label, or a line across it.
enum Item {
    Text(LabelPart, Block),
    Framed(LabelPart, Block),
    Rule,
}

/// A text that stands above the lower part, as wide as the label, or in it beside the codes, if it has room there.
struct Loose {
    above: Item,
    beside: Option<Item>,
}

impl Item {
    fn height(&self) -> f32 {
        match self {
            Self::Text(_, block) => block.height(),
            Self::Framed(_, block) => block.height() + 2.0 * (FRAME + IN_FRAME + AROUND_RULE),
            Self::Rule => RULE + 2.0 * AROUND_RULE,
        }
    }
}

fn heights(items: &[Item]) -> f32 {
    items.iter().map(Item::height).sum()
}

/// The room within the margins, width and height.
fn inner(settings: LabelSettings) -> (f32, f32) {
    let (width, height) = settings.size.millimetres();
    (f32::from(width) - 2.0 * MARGIN, f32::from(height) - 2.0 * MARGIN)
}

impl Stack {
    /// Stacks everything, if it has room.
    pub(super) fn new(
        fonts: &Fonts,
        content: &LabelContent,
        symbols: &[Symbol],
        settings: LabelSettings,
        scale: Scale,
    ) -> Result<Self, Overflow> {
        let (across, height) = inner(settings);
        let codes = Codes::of(symbols, scale.modules);
        let beside = if symbols.is_empty() { across } else { across - codes.width - BESIDE_CODES };
        if beside <= 0.0 {
            return Err(Overflow { part: LabelPart::Codes, word: None, over: codes.width - across });
        }
        let setter = Setter { fonts, content, body: scale.body, name: scale.name };
        let upper = setter.upper(across)?;
        let core = setter.core(settings, beside)?;
        let stack = Self::with_loose(upper, core, setter.loose(across, beside)?, codes.height);
        let over = stack.height() - height;
        if over <= 0.0 { Ok(stack) } else { Err(stack.overflow(height, over)) }
    }

    /// With the loose texts where they take the least height, and otherwise beside the codes.
    fn with_loose(mut upper: Vec<Item>, mut core: Vec<Item>, loose: Vec<Loose>, codes: f32) -> Self {
        let height_of = |choice: u32| {
            let (mut above, mut lower) = (0.0, heights(&core));
            for (place, text) in loose.iter().enumerate() {
                match &text.beside {
                    Some(beside) if choice >> place & 1 == 0 => lower += beside.height(),
                    _ => above += text.above.height(),
                }
            }
            above + lower.max(codes)
        };
        let best = (0..1 << loose.len()).min_by(|one, another| height_of(*one).total_cmp(&height_of(*another)));
        let best = best.unwrap_or_default();
        for (place, text) in loose.into_iter().enumerate() {
            match text.beside {
                Some(beside) if best >> place & 1 == 0 => core.push(beside),
                _ => upper.push(text.above),
            }
        }
        let lower_height = heights(&core).max(codes);
        if lower_height > 0.0 && !matches!(upper.last(), Some(Item::Rule)) {
            upper.push(Item::Rule);
        }
        Self { upper, lower: core, lower_height }
    }

    fn height(&self) -> f32 {
        heights(&self.upper) + self.lower_height
    }

    /// The part for which there is no more room when those that matter more have theirs.
    fn overflow(&self, height: f32, over: f32) -> Overflow {
        const BY_WEIGHT: [LabelPart; 11] = [
            LabelPart::Lot,
            LabelPart::Dates,
            LabelPart::NetQuantity,
            LabelPart::Gtin,
            LabelPart::Name,
            LabelPart::Subtitle,
            LabelPart::Notice,
            LabelPart::Statements,
            LabelPart::Ingredients,
            LabelPart::Storage,
            LabelPart::Maker,
        ];
        let rules = self.upper.iter().filter(|item| matches!(item, Item::Rule)).map(Item::height).sum::<f32>();
        let codes = self.lower_height - heights(&self.lower);
        let mut left = height - rules - codes.max(0.0);
        if left < 0.0 {
            return Overflow { part: LabelPart::Codes, word: None, over };
        }
        for part in BY_WEIGHT {
            let of_part = self.upper.iter().chain(&self.lower).filter(|item| item.part() == Some(part));
            left -= of_part.map(Item::height).sum::<f32>();
            if left < 0.0 {
                return Overflow { part, word: None, over };
            }
        }
        Overflow { part: LabelPart::Ingredients, word: None, over }
    }

    /// Puts everything in its place: the upper part at the top, the lower at the bottom.
    pub(super) fn place(&self, symbols: &[Symbol], settings: LabelSettings, modules: Modules) -> Layout {
        let (across, height) = inner(settings);
        let mut layout = Layout::default();
        let lower_top = MARGIN + height - self.lower_height;
        // The line above the lower part goes down with it.
        let (above, rule) = match self.upper.split_last() {
            Some((rule @ Item::Rule, above)) => (above, Some(rule)),
            _ => (self.upper.as_slice(), None),
        };
        layout.stack(above, MARGIN, across);
        if let Some(rule) = rule {
            layout.stack(std::slice::from_ref(rule), lower_top - rule.height(), across);
        }
        layout.stack(&self.lower, lower_top, across);
        layout.put_codes(symbols, lower_top, settings, modules);
        layout
    }
}

impl Item {
    fn part(&self) -> Option<LabelPart> {
        match self {
            Self::Text(part, _) | Self::Framed(part, _) => Some(*part),
            Self::Rule => None,
        }
    }
}

/// The room of all codes.
struct Codes {
    width: f32,
    height: f32,
}

impl Codes {
    fn of(symbols: &[Symbol], modules: Modules) -> Self {
        let rooms = symbols.iter().map(|symbol| symbol.room(modules));
        Self { width: rooms.clone().sum(), height: rooms.fold(0.0, f32::max) }
    }
}

/// Sets the parts in letters of one size.
struct Setter<'a> {
    fonts: &'a Fonts,
    content: &'a LabelContent,
    body: f32,
    /// The size of the name, by that of the body.
    name: f32,
}

impl Setter<'_> {
    /// The name, the list and its statements between lines, and the notice.
    fn upper(&self, across: f32) -> Result<Vec<Item>, Overflow> {
        let content = self.content;
        let mut items = Vec::new();
        self.add(&mut items, LabelPart::Name, &[Run::new(&content.name, true)], self.body * self.name, across)?;
        self.add(&mut items, LabelPart::Subtitle, &[Run::new(&content.subtitle, false)], self.body, across)?;
        let has_list = !content.ingredients.pieces.is_empty() || !content.statements.is_empty();
        if has_list {
            items.push(Item::Rule);
            self.add(&mut items, LabelPart::Ingredients, &runs(&content.ingredients), self.body, across)?;
            for statement in &content.statements {
                self.add(&mut items, LabelPart::Statements, &runs(statement), self.body, across)?;
            }
            items.push(Item::Rule);
        }
        if !content.notice.is_empty() {
            let within = across - 2.0 * (FRAME + IN_FRAME);
            let notice = [Run::new(&content.notice, true)];
            items.push(Item::Framed(LabelPart::Notice, self.set(LabelPart::Notice, &notice, self.body, within)?));
        }
        Ok(items)
    }

    /// The lot number, the dates, the net quantity and the GTIN.
    fn core(&self, settings: LabelSettings, width: f32) -> Result<Vec<Item>, Overflow> {
        let content = self.content;
        let mut items = Vec::new();
        self.add(&mut items, LabelPart::Lot, &labelled(&content.lot), self.larger(LOT), width)?;
        for date in &content.dates {
            self.add(&mut items, LabelPart::Dates, &labelled(date), self.larger(DATE), width)?;
        }
        #[expect(clippy::cast_precision_loss, reason = "a few thousand")]
        let least = settings.least_quantity_figures as f32 / 1000.0 / FIGURE_HEIGHT;
        let quantity = [Run::new(&content.net_quantity, true)];
        self.add(&mut items, LabelPart::NetQuantity, &quantity, self.larger(QUANTITY).max(least), width)?;
        self.add(&mut items, LabelPart::Gtin, &labelled(&content.gtin), self.body, width)?;
        Ok(items)
    }

    /// The size of what matters most after the name.
    fn larger(&self, by: f32) -> f32 {
        self.body * (1.0 + by * (self.name - 1.0))
    }

    /// How to keep it, and the maker.
    fn loose(&self, across: f32, beside: f32) -> Result<Vec<Loose>, Overflow> {
        let mut loose = Vec::new();
        for (part, text) in [(LabelPart::Storage, &self.content.storage), (LabelPart::Maker, &self.content.maker)] {
            if text.is_empty() {
                continue;
            }
            let runs = [Run::new(text, false)];
            let above = Item::Text(part, self.set(part, &runs, self.body, across)?);
            // A word that is too wide for it: above, then.
            let beside = set(self.fonts, &runs, self.body, beside).ok();
            loose.push(Loose { above, beside: beside.map(|block| Item::Text(part, block)) });
        }
        Ok(loose)
    }

    /// Adds a part, unless there is nothing in it.
    fn add(&self, items: &mut Vec<Item>, part: LabelPart, runs: &[Run], size: f32, width: f32) -> Result<(), Overflow> {
        let block = self.set(part, runs, size, width)?;
        if !block.lines.is_empty() {
            items.push(Item::Text(part, block));
        }
        Ok(())
    }

    fn set(&self, part: LabelPart, runs: &[Run], size: f32, width: f32) -> Result<Block, Overflow> {
        set(self.fonts, runs, size, width).map_err(|word| Overflow { part, word: Some(word), over: 0.0 })
    }
}

fn runs(text: &LabelText) -> Vec<Run> {
    text.pieces.iter().map(|piece| Run::new(&piece.text, piece.bold)).collect()
}

fn labelled(labelled: &Labelled) -> Vec<Run> {
    vec![Run::new(&format!("{} ", labelled.label), false), Run::whole(&labelled.value)]
}

impl Layout {
    /// Puts items one below the other.
    fn stack(&mut self, items: &[Item], mut top: f32, across: f32) {
        for item in items {
            match item {
                Item::Text(_, block) => self.put_lines(block, MARGIN, top),
                Item::Rule => {
                    self.boxes.push(Area { left: MARGIN, top: top + AROUND_RULE, width: across, height: RULE });
                }
                Item::Framed(_, block) => self.put_framed(block, top + AROUND_RULE, across),
            }
            top += item.height();
        }
    }

    fn put_lines(&mut self, block: &Block, left: f32, mut top: f32) {
        for line in &block.lines {
            let base = top + block.base();
            self.lines.push(PlacedLine { left, base, size: block.size, line: line.clone() });
            top += block.line();
        }
    }

    fn put_framed(&mut self, block: &Block, top: f32, across: f32) {
        let height = block.height() + 2.0 * (FRAME + IN_FRAME);
        self.boxes.extend([
            Area { left: MARGIN, top, width: across, height: FRAME },
            Area { left: MARGIN, top: top + height - FRAME, width: across, height: FRAME },
            Area { left: MARGIN, top, width: FRAME, height },
            Area { left: MARGIN + across - FRAME, top, width: FRAME, height },
        ]);
        self.put_lines(block, MARGIN + FRAME + IN_FRAME, top + FRAME + IN_FRAME);
    }

    /// Puts the codes at the right edge, each beginning at a whole dot.
    fn put_codes(&mut self, symbols: &[Symbol], top: f32, settings: LabelSettings, modules: Modules) {
        let resolution = settings.resolution;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within a label")]
        let dots = |length: f32| (length * resolution.per_millimetre()).ceil() as u32;
        let mut left = MARGIN + inner(settings).0 - Codes::of(symbols, modules).width;
        for symbol in symbols {
            let quiet = symbol.quiet_dots(modules, resolution);
            self.symbols.push(PlacedSymbol {
                symbol: symbol.clone(),
                left: dots(left) + quiet,
                top: dots(top) + quiet,
                module: symbol.dots(modules, resolution),
            });
            left += symbol.room(modules);
        }
    }
}
