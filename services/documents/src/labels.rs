//! Labels for tubs, components and received lots: one layout, as SVG, PNG and PDF, in exact millimetres.
//!
//! Everything that is given stands on the label, in letters of the size that is asked for at least, or there is no
//! label and the error names what has no room. Nothing is cut off and no word is broken. The letters in the SVG are
//! outlines, so that it looks the same wherever it is opened; its description holds the text. That of the PDF can be
//! searched and copied. The PNG is black and white, a dot of the printer a pixel.

mod content;
mod error;
mod image;
mod layout;
mod outlines;
mod paper;
mod stack;
mod symbol;
mod text;
mod vector;

pub use content::{
    CodeContent, LabelContent, LabelPart, LabelSettings, LabelSize, LabelText, Labelled, Resolution, TextPiece,
};
pub use error::LabelError;

/// The media type of an SVG.
pub const SVG_MEDIA_TYPE: &str = "image/svg+xml";
/// The media type of a PNG.
pub const PNG_MEDIA_TYPE: &str = "image/png";

/// The label as an SVG.
pub fn svg(content: &LabelContent, settings: LabelSettings) -> Result<String, LabelError> {
    let (fonts, layout) = layout::lay_out(content, settings)?;
    vector::write(content, settings, &fonts, &layout)
}

/// The label as a PNG for a printer of the resolution: what the SVG shows, each dot black or white.
pub fn png(content: &LabelContent, settings: LabelSettings) -> Result<Vec<u8>, LabelError> {
    image::write(&svg(content, settings)?, settings)
}

/// The label as a PDF with one page of the size of the label.
pub fn pdf(content: &LabelContent, settings: LabelSettings) -> Result<Vec<u8>, LabelError> {
    let (fonts, layout) = layout::lay_out(content, settings)?;
    paper::write(content, settings, &fonts, &layout)
}
