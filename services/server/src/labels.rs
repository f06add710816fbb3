//! Labels drawn: from what one says to the bytes of a picture or a page.

use std::sync::Arc;

use actix_web::HttpResponse;
use actix_web::http::header::CONTENT_TYPE;
use tubtrail_documents::labels::{
    self as drawing, CodeContent, LabelContent, LabelError, LabelPart, LabelSettings, LabelText, Labelled,
    PNG_MEDIA_TYPE, Resolution, SVG_MEDIA_TYPE, TextPiece,
};
use tubtrail_documents::pdf;
use tubtrail_domain::say;
use tubtrail_domain::saying::{Gap, Saying};
use tubtrail_operations::labels::{Dpi, Label, LabelCode, LabelPiece, LabelSize, LabelTone, Symbology};
use tubtrail_operations::prints::Fits;
use tubtrail_operations::{OperationError, problems};

type Drawn<T> = Result<T, OperationError>;

/// How a label is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LabelFormat {
    /// Outlines, in millimetres.
    Svg,
    /// Black and white dots, one for each of the printer.
    Png,
    /// A page of the size of the label.
    Pdf,
}

impl LabelFormat {
    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Svg => SVG_MEDIA_TYPE,
            Self::Png => PNG_MEDIA_TYPE,
            Self::Pdf => pdf::MEDIA_TYPE,
        }
    }
}

/// Draws a label.
pub fn draw(label: &Label, size: LabelSize, dpi: Dpi, format: LabelFormat) -> Drawn<Vec<u8>> {
    let (content, settings) = (content(label, size), settings(label, size, dpi));
    let drawn = match format {
        LabelFormat::Svg => drawing::svg(&content, settings).map(String::into_bytes),
        LabelFormat::Png => drawing::png(&content, settings),
        LabelFormat::Pdf => drawing::pdf(&content, settings),
    };
    drawn.map_err(|error| failed(&error, label))
}

/// Whether a label fits.
pub fn fits() -> Fits {
    Arc::new(|label, size, dpi| draw(label, size, dpi, LabelFormat::Svg).map(drop))
}

/// Answers with a label that was drawn.
pub fn answer(bytes: Vec<u8>, format: LabelFormat) -> HttpResponse {
    HttpResponse::Ok().insert_header((CONTENT_TYPE, format.media_type())).body(bytes)
}

fn settings(label: &Label, size: LabelSize, dpi: Dpi) -> LabelSettings {
    LabelSettings {
        size: match size {
            LabelSize::W60H40 => drawing::LabelSize::W60H40,
            LabelSize::W100H50 => drawing::LabelSize::W100H50,
        },
        resolution: match dpi {
            Dpi::D203 => Resolution::Dpi203,
            Dpi::D300 => Resolution::Dpi300,
        },
        least_letters: label.least_letters_micrometres,
        // Tubs are weighed one by one: what the law asks of packs that all hold the same is not asked of them.
        least_quantity_figures: 0,
    }
}

fn content(label: &Label, size: LabelSize) -> LabelContent {
    // A small label has room for the code that tills read; the link says the same.
    let codes = if size == LabelSize::W60H40 { 1 } else { label.codes.len() };
    LabelContent {
        name: label.name.clone(),
        subtitle: label.subtitle.clone(),
        ingredients: text(&label.ingredients),
        statements: label.statements.iter().map(|statement| text(statement)).collect(),
        notice: label.notices.join(" "),
        net_quantity: label.net_quantity.clone().unwrap_or_default(),
        dates: label.dates.iter().map(|date| labelled(&date.label, &date.date)).collect(),
        lot: labelled("Lot", &label.lot),
        gtin: label.gtin.as_deref().map_or_else(Labelled::default, |gtin| labelled("GTIN", gtin)),
        storage: label.storage.join(" "),
        maker: label.maker.join(", "),
        codes: label.codes.iter().take(codes).map(code).collect(),
        language: label.language.clone(),
    }
}

fn text(pieces: &[LabelPiece]) -> LabelText {
    let piece = |piece: &LabelPiece| TextPiece { text: piece.text.clone(), bold: piece.tone != LabelTone::Plain };
    LabelText { pieces: pieces.iter().map(piece).collect() }
}

fn labelled(label: &str, value: &str) -> Labelled {
    Labelled { label: label.to_owned(), value: value.to_owned() }
}

fn code(code: &LabelCode) -> CodeContent {
    match code.symbology {
        Symbology::Gs1DataMatrix => CodeContent::GsOneDataMatrix(code.text.clone()),
        Symbology::Qr => CodeContent::Qr(code.text.clone()),
    }
}

/// Why there is no label, in words.
fn in_words(error: &LabelError) -> Saying {
    match error {
        LabelError::NoRoom { part, size, least_letters, word: Some(word), .. } => say!(
            "{part} has no room on a label of {size} in letters of {letters} mm: “{word}” is wider than the room for it. \
             Take a larger label, or shorten what is on it",
            part = part_in_words(*part),
            size = size.to_string(),
            letters = Gap::Figure((f64::from(*least_letters) / 1000.0).to_string()),
            word
        ),
        LabelError::NoRoom { part, size, least_letters, word: None, over } => say!(
            "{part} has no room on a label of {size} in letters of {letters} mm: {over} mm of height are missing. Take a \
             larger label, or shorten what is on it",
            part = part_in_words(*part),
            size = size.to_string(),
            letters = Gap::Figure((f64::from(*least_letters) / 1000.0).to_string()),
            over = Gap::Figure(format!("{}.{}", over / 10, over % 10))
        ),
        LabelError::NoSuchLetter { part, character } => {
            say!("{part} cannot be printed: the letters have no “{character}”", part = part_in_words(*part), character)
        }
        LabelError::Code(why) => say!("the code cannot be made: {why}", why),
        LabelError::NoName => say!("a label needs a name"),
        LabelError::Letters => say!("the least height of letters must be from 0.8 to 5 mm"),
        LabelError::Picture(_) | LabelError::Document(_) => Saying::as_it_is(error.to_string()),
    }
}

const fn part_in_words(part: LabelPart) -> Saying {
    match part {
        LabelPart::Name => say!("the name"),
        LabelPart::Subtitle => say!("the line below the name"),
        LabelPart::Ingredients => say!("the list of ingredients"),
        LabelPart::Statements => say!("what it contains and may contain"),
        LabelPart::Notice => say!("the notice"),
        LabelPart::NetQuantity => say!("the net quantity"),
        LabelPart::Dates => say!("the date"),
        LabelPart::Lot => say!("the lot number"),
        LabelPart::Gtin => say!("the GTIN"),
        LabelPart::Storage => say!("how to keep it"),
        LabelPart::Maker => say!("the maker"),
        LabelPart::Codes => say!("the code"),
    }
}

fn failed(error: &LabelError, label: &Label) -> OperationError {
    let problem = OperationError::new(&problems::LABEL_NO_ROOM, in_words(error)).about([label.lot.clone()]);
    match error {
        LabelError::NoRoom { part, .. } | LabelError::NoSuchLetter { part, .. } => problem.at(part.field()),
        LabelError::Code(_) => problem.at("codes"),
        LabelError::NoName => problem.at("name"),
        LabelError::Letters | LabelError::Picture(_) | LabelError::Document(_) => {
            tracing::error!(%error, lot = label.lot, "a label was not drawn");
            OperationError::of(&problems::INTERNAL)
        }
    }
}
