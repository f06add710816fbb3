//! The codes for scanners, as squares of modules.

use datamatrix::{DataMatrix, SymbolList};
use qrcode::{Color, EcLevel, QrCode};

use super::content::{CodeContent, Resolution};
use super::error::LabelError;

/// A code: which of its modules are black.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Symbol {
    /// Modules along a side, without the white around.
    pub(super) side: u32,
    /// Row by row.
    black: Vec<bool>,
    /// Modules of white around.
    quiet: u32,
    kind: Kind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    DataMatrix,
    Qr,
}

/// How wide modules are. What has room decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Modules {
    /// Half a millimetre, near the 0.495 mm that GS1's General Specifications aim at (from memory).
    Wide,
    /// QR codes alone: four tenths of a millimetre, about, which phones read well (common practice, no source).
    Narrow,
}

impl Symbol {
    /// Encodes one. A `DataMatrix` has one module of white around by its standard (ISO/IEC 16022, from memory), and
    /// gets two; a QR code has four (ISO/IEC 18004, from memory).
    pub(super) fn encode(content: &CodeContent) -> Result<Self, LabelError> {
        match content {
            CodeContent::GsOneDataMatrix(elements) => data_matrix(elements),
            CodeContent::Qr(text) => qr(text),
        }
    }

    /// How wide a module is, in whole dots.
    pub(super) fn dots(&self, modules: Modules, resolution: Resolution) -> u32 {
        match (self.kind, modules, resolution) {
            (Kind::DataMatrix, _, Resolution::Dpi203) | (Kind::Qr, Modules::Wide, Resolution::Dpi203) => 4,
            (Kind::DataMatrix, _, Resolution::Dpi300) | (Kind::Qr, Modules::Wide, Resolution::Dpi300) => 6,
            (Kind::Qr, Modules::Narrow, Resolution::Dpi203) => 3,
            (Kind::Qr, Modules::Narrow, Resolution::Dpi300) => 5,
        }
    }

    /// The white before its first module, in whole dots.
    pub(super) fn quiet_dots(&self, modules: Modules, resolution: Resolution) -> u32 {
        self.quiet * self.dots(modules, resolution)
    }

    /// The side of the room it takes with the white around, in millimetres: the same at each resolution, so that a
    /// label which has room at one has at the other.
    pub(super) fn room(&self, modules: Modules) -> f32 {
        let along = |resolution: Resolution| {
            let dots = (self.side + 2 * self.quiet) * self.dots(modules, resolution);
            // One more: it begins at a whole dot.
            #[expect(clippy::cast_precision_loss, reason = "a few hundred")]
            let dots = (dots + 1) as f32;
            dots / resolution.per_millimetre()
        };
        Resolution::ALL.map(along).into_iter().fold(0.0, f32::max)
    }

    /// Black runs of modules: column, row, length.
    pub(super) fn runs(&self) -> Vec<(u32, u32, u32)> {
        let mut runs: Vec<(u32, u32, u32)> = Vec::new();
        for (place, _) in (0_u32..).zip(&self.black).filter(|(_, black)| **black) {
            let (column, row) = (place % self.side, place / self.side);
            match runs.last_mut() {
                Some((start, same, length)) if *same == row && *start + *length == column => *length += 1,
                _ => runs.push((column, row, 1)),
            }
        }
        runs
    }
}

fn data_matrix(elements: &str) -> Result<Symbol, LabelError> {
    if elements.starts_with('\u{1d}') || elements.ends_with('\u{1d}') {
        return Err(LabelError::Code("an element string neither opens nor ends with a separator".to_owned()));
    }
    let encoded = DataMatrix::encode_gs1(elements.as_bytes(), SymbolList::default().enforce_square())
        .map_err(|error| LabelError::Code(format!("GS1 DataMatrix: {error:?}")))?;
    let bitmap = encoded.bitmap();
    let side = bitmap.width();
    let mut black = vec![false; side * side];
    for (column, row) in bitmap.pixels() {
        black[row * side + column] = true;
    }
    Ok(Symbol { side: whole(side)?, black, quiet: 2, kind: Kind::DataMatrix })
}

fn qr(text: &str) -> Result<Symbol, LabelError> {
    let encoded = QrCode::with_error_correction_level(text, EcLevel::M)
        .map_err(|error| LabelError::Code(format!("QR code: {error}")))?;
    let side = whole(encoded.width())?;
    let black = encoded.to_colors().into_iter().map(|colour| colour == Color::Dark).collect();
    Ok(Symbol { side, black, quiet: 4, kind: Kind::Qr })
}

fn whole(side: usize) -> Result<u32, LabelError> {
    u32::try_from(side).map_err(|_| LabelError::Code("it is too large".to_owned()))
}
