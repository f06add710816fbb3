//! Where everything stands on a label: the largest letters with which all of it has room.
//!
//! Above, as wide as the label: the name, the list of ingredients and its statements between two lines, the notice in
//! its frame. Below, the lot number, the dates and the like on the left, the codes on the right.

use super::content::{LabelContent, LabelSettings};
use super::error::LabelError;
use super::stack::{Scale, Stack};
use super::symbol::{Modules, Symbol};
use super::text::{Line, X_HEIGHT};
use crate::pdf::font::{Face, Fonts};

/// The height of a small “x” in the largest letters that are tried, in millimetres, and the step to the next smaller
/// ones.
const LARGEST_X: f32 = 2.2;
const STEP: f32 = 0.05;
/// The smallest “x” with which all of [`SCALES`] are tried, before smaller ones are: letters are made smaller last.
const FLOORS: [f32; 3] = [1.5, 1.2, 0.0];
/// How large the name is beside the other letters, and how wide the modules of QR codes, in the order they are tried.
const SCALES: [(f32, Modules); 5] =
    [(2.0, Modules::Wide), (1.6, Modules::Wide), (1.3, Modules::Wide), (1.6, Modules::Narrow), (1.3, Modules::Narrow)];
/// A label, ready to be drawn. Lengths are millimetres from its upper left corner.
#[derive(Debug, Default)]
pub(super) struct Layout {
    pub(super) lines: Vec<PlacedLine>,
    pub(super) boxes: Vec<Area>,
    pub(super) symbols: Vec<PlacedSymbol>,
}

/// A line of text from a point on its base line.
#[derive(Debug)]
pub(super) struct PlacedLine {
    pub(super) left: f32,
    pub(super) base: f32,
    pub(super) size: f32,
    pub(super) line: Line,
}

/// A black rectangle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Area {
    pub(super) left: f32,
    pub(super) top: f32,
    pub(super) width: f32,
    pub(super) height: f32,
}

/// A code, in whole dots of the printer.
#[derive(Debug)]
pub(super) struct PlacedSymbol {
    pub(super) symbol: Symbol,
    /// Of its first module.
    pub(super) left: u32,
    /// Of its first module.
    pub(super) top: u32,
    /// Along a module.
    pub(super) module: u32,
}

/// Lays out a label, or says which part has no room.
pub(super) fn lay_out(content: &LabelContent, settings: LabelSettings) -> Result<(Fonts, Layout), LabelError> {
    if !(800..=5000).contains(&settings.least_letters) {
        return Err(LabelError::Letters);
    }
    if content.name.trim().is_empty() {
        return Err(LabelError::NoName);
    }
    let fonts = Fonts::load()?;
    refuse_missing_letters(&fonts, content)?;
    let symbols = content.codes.iter().map(Symbol::encode).collect::<Result<Vec<_>, _>>()?;
    let stacked = |scale| Stack::new(&fonts, content, &symbols, settings, scale);
    // The smallest first: what has no room in it has none in any other.
    let smallest = scales(settings).last().ok_or(LabelError::Letters)?;
    let mut stack = stacked(smallest).map_err(|overflow| overflow.error(settings))?;
    let mut modules = smallest.modules;
    if let Some((scale, larger)) = scales(settings).find_map(|scale| Some((scale, stacked(scale).ok()?))) {
        stack = larger;
        modules = scale.modules;
    }
    let layout = stack.place(&symbols, settings, modules);
    Ok((fonts, layout))
}

/// All that are tried, in this order.
fn scales(settings: LabelSettings) -> impl Iterator<Item = Scale> {
    let steps = FLOORS.into_iter().flat_map(|floor| SCALES.map(|scale| (floor, scale)));
    steps.flat_map(move |(floor, (name, modules))| {
        x_heights(settings, floor).map(move |x_height| Scale { body: x_height / X_HEIGHT, name, modules })
    })
}

/// From the largest down to the floor or the least that is allowed, in millimetres.
fn x_heights(settings: LabelSettings, floor: f32) -> impl Iterator<Item = f32> {
    #[expect(clippy::cast_precision_loss, reason = "at most 5000")]
    let least = settings.least_letters as f32 / 1000.0;
    let larger = std::iter::successors(Some(LARGEST_X), |x_height| Some(x_height - STEP));
    let least = least.max(floor);
    larger.take_while(move |x_height| *x_height > least).chain([least])
}

fn refuse_missing_letters(fonts: &Fonts, content: &LabelContent) -> Result<(), LabelError> {
    for (part, text) in content.texts() {
        for face in [Face::Regular, Face::Bold] {
            let text = text.replace(char::is_whitespace, " ");
            if let Some(character) = fonts.lacks(face, &text) {
                return Err(LabelError::NoSuchLetter { part, character });
            }
        }
    }
    Ok(())
}
