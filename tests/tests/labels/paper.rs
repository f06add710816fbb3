//! Exact sizes, and the text read back.

use std::path::Path;

use tubtrail_documents::labels::{LabelContent, LabelSettings, LabelSize, Resolution, pdf, png, svg};
use tubtrail_domain::allergens::AllergenList;

use crate::samples::{component, every_printing, hazelnut_biscuit, received, tub};
use crate::tools::{output_of, text};

fn text_of(content: &LabelContent, settings: LabelSettings) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    let paper = folder.path().join("label.pdf");
    std::fs::write(&paper, pdf(content, settings).expect("a paper")).expect("a file");
    let read = output_of("pdftotext", &["-raw", text(&paper), "-"]);
    String::from_utf8(read).expect("UTF-8").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Every text of a label, without the blanks that only part lines.
fn texts(content: &LabelContent) -> Vec<String> {
    let pieces = |text: &tubtrail_documents::labels::LabelText| -> String {
        text.pieces.iter().map(|piece| piece.text.as_str()).collect()
    };
    let mut texts = vec![content.name.clone(), content.subtitle.clone(), pieces(&content.ingredients)];
    texts.extend(content.statements.iter().map(pieces));
    texts.extend(
        content.dates.iter().chain([&content.lot, &content.gtin]).map(|one| format!("{} {}", one.label, one.value)),
    );
    texts.extend([&content.notice, &content.net_quantity, &content.storage, &content.maker].map(Clone::clone));
    texts.retain(|text| !text.trim().is_empty());
    texts
}

#[test]
fn the_whole_text_is_read_back_from_the_paper() {
    let mut went_in = hazelnut_biscuit();
    went_in[2].declared.unknown = tubtrail_domain::allergens::Substance::Egg.bit();
    let in_doubt = tub(AllergenList::Eu, &went_in, Some("tasting at home"));
    assert!(in_doubt.notice.contains("Not everything in it is known"));
    let tubs = AllergenList::ALL.map(|law| tub(law, &hazelnut_biscuit(), None));
    for content in tubs.into_iter().chain([in_doubt, received(), component()]) {
        let settings = LabelSettings { size: LabelSize::W100H50, ..LabelSettings::default() };
        let read = text_of(&content, settings);
        for text in texts(&content) {
            assert!(read.contains(text.trim()), "“{text}” is not in “{read}”");
        }
        for word in ["safe", "free from"] {
            assert!(!read.to_lowercase().contains(word), "{read}");
        }
    }
}

#[test]
fn the_worked_example_stands_on_the_smallest_label() {
    // The order is worked out in grams beside `hazelnut_biscuit`; letters of 1.2 mm: Regulation (EU) 1169/2011 art.
    // 13(2).
    let read = text_of(&tub(AllergenList::Eu, &hazelnut_biscuit(), None), LabelSettings::default());
    assert!(
        read.contains(
            "Ingredients: whole milk, cream (milk), sugar, hazelnut paste 8 %, biscuit (wheat flour, butter, sugar; \
             contains milk), water, skimmed milk powder, glucose syrup May contain: almonds, pistachio nuts"
        ),
        "{read}"
    );
}

#[test]
fn sizes_are_exact() {
    for settings in every_printing() {
        let (content, (width, height)) = (received(), settings.size.millimetres());
        let drawing = svg(&content, settings).expect("a drawing");
        assert!(drawing.contains(&format!(r#"width="{width}mm" height="{height}mm""#)), "{settings:?}");
        assert_png(&png(&content, settings).expect("a picture"), settings);
        assert_paper(&pdf(&content, settings).expect("a paper"), settings);
    }
}

/// Dots by 8 in a millimetre, or by 300 in an inch of 25.4 mm.
fn assert_png(file: &[u8], settings: LabelSettings) {
    let reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().expect("a PNG");
    let info = reader.info();
    let (dots, in_a_metre) = match (settings.size, settings.resolution) {
        (LabelSize::W60H40, Resolution::Dpi203) => ((480, 320), 8000),
        (LabelSize::W100H50, Resolution::Dpi203) => ((800, 400), 8000),
        // 60 / 25.4 × 300 = 708.66; 40 / 25.4 × 300 = 472.44; 300 / 0.0254 = 11 811.02
        (LabelSize::W60H40, Resolution::Dpi300) => ((709, 472), 11_811),
        // 1181.10 and 590.55
        (LabelSize::W100H50, Resolution::Dpi300) => ((1181, 591), 11_811),
    };
    assert_eq!((info.width, info.height), dots);
    assert_eq!(settings.resolution.dots(settings.size), dots);
    let density = info.pixel_dims.expect("pHYs");
    assert_eq!((density.xppu, density.yppu, density.unit), (in_a_metre, in_a_metre, png::Unit::Meter));
    assert_eq!((info.bit_depth, info.color_type), (png::BitDepth::One, png::ColorType::Grayscale));
}

/// 60 mm = 170.079 points of 1/72 inch, 40 mm = 113.386, 100 mm = 283.465, 50 mm = 141.732.
fn assert_paper(file: &[u8], settings: LabelSettings) {
    let folder = tempfile::tempdir().expect("a folder");
    let paper = folder.path().join("label.pdf");
    std::fs::write(&paper, file).expect("a file");
    let box_of = media_box(&paper);
    let expected = match settings.size {
        LabelSize::W60H40 => [0.0, 0.0, 170.08, 113.39],
        LabelSize::W100H50 => [0.0, 0.0, 283.46, 141.73],
    };
    for (given, expected) in box_of.iter().zip(expected) {
        assert!((given - expected).abs() < 0.006, "{box_of:?}");
    }
    assert_eq!(box_of.len(), 4);
}

fn media_box(paper: &Path) -> Vec<f64> {
    let told = String::from_utf8(output_of("pdfinfo", &["-box", text(paper)])).expect("text");
    assert!(told.contains("Pages:           1"), "{told}");
    let line = told.lines().find_map(|line| line.strip_prefix("MediaBox:")).expect("a media box");
    line.split_whitespace().map(|length| length.parse().expect("a length")).collect()
}

#[test]
fn letters_in_the_drawing_are_outlines_and_its_description_is_the_text() {
    let content = LabelContent { name: "Salt & <caramel>".to_owned(), ..received() };
    let drawing = svg(&content, LabelSettings::default()).expect("a drawing");
    assert!(!drawing.contains("<text"), "it looks the same without the font");
    assert!(drawing.contains("<title>Salt &amp; &lt;caramel&gt;</title>"));
    assert!(drawing.contains("<desc>Salt &amp; &lt;caramel&gt;\nReceived lot · their lot P-7781\nLot 261125-0042\n"));
}

#[test]
fn the_same_label_is_the_same_file() {
    let content = tub(AllergenList::Ca, &hazelnut_biscuit(), None);
    let settings = LabelSettings { size: LabelSize::W100H50, ..LabelSettings::default() };
    assert_eq!(png(&content, settings).expect("a picture"), png(&content, settings).expect("a picture"));
    assert_eq!(svg(&content, settings).expect("a drawing"), svg(&content, settings).expect("a drawing"));
}
