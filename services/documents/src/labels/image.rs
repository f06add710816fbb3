//! The label as a PNG of black and white dots.

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};

use super::content::LabelSettings;
use super::error::LabelError;

/// A dot is black if the drawing covers this much of it or more, of 255.
const HALF: u8 = 128;

/// Draws the SVG, a unit a dot.
pub(super) fn write(svg: &str, settings: LabelSettings) -> Result<Vec<u8>, LabelError> {
    let resolution = settings.resolution;
    let options = Options { dpi: resolution.per_inch(), ..Options::default() };
    let tree = Tree::from_str(svg, &options).map_err(|error| LabelError::Picture(error.to_string()))?;
    let (width, height) = resolution.dots(settings.size);
    let mut drawn = Pixmap::new(width, height).ok_or_else(|| LabelError::Picture("it has no size".to_owned()))?;
    drawn.fill(Color::WHITE);
    resvg::render(&tree, Transform::identity(), &mut drawn.as_mut());
    encode(&drawn, resolution.per_metre()).map_err(|error| LabelError::Picture(error.to_string()))
}

/// One bit a dot, and how many dots there are in a metre.
fn encode(drawn: &Pixmap, dots_per_metre: u32) -> Result<Vec<u8>, png::EncodingError> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, drawn.width(), drawn.height());
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: dots_per_metre,
        yppu: dots_per_metre,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bits(drawn))?;
    writer.finish()?;
    Ok(file)
}

/// White is 1, the first dot of eight the highest bit; each row begins a byte.
fn bits(drawn: &Pixmap) -> Vec<u8> {
    let across = drawn.width() as usize;
    let pack =
        |dots: &[bool]| dots.iter().zip((0..8).rev()).fold(0, |byte, (white, bit)| byte | u8::from(*white) << bit);
    let white: Vec<bool> = drawn.pixels().iter().map(|pixel| pixel.red() >= HALF).collect();
    white.chunks(across).flat_map(|row| row.chunks(8).map(pack).collect::<Vec<u8>>()).collect()
}
