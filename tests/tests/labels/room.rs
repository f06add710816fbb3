//! What has no room is an error that names it; nothing is cut off.

use tubtrail_documents::labels::{
    LabelContent, LabelError, LabelPart, LabelSettings, LabelSize, LabelText, Resolution, TextPiece, png, svg,
};
use tubtrail_domain::allergens::AllergenList;

use crate::samples::{every_printing, hazelnut_biscuit, labelled, received, tub};

fn eu() -> LabelContent {
    tub(AllergenList::Eu, &hazelnut_biscuit(), None)
}

/// The part that has no room, and the word that is too wide if that is why.
fn no_room(content: &LabelContent, settings: LabelSettings) -> (LabelPart, Option<String>) {
    match png(content, settings) {
        Err(LabelError::NoRoom { part, word, .. }) => (part, word),
        other => panic!("{other:?}"),
    }
}

fn long(words: usize) -> String {
    "harbour ".repeat(words)
}

#[test]
fn the_part_that_is_too_long_is_named() {
    let list = |words| LabelText { pieces: vec![TextPiece { text: long(words), bold: false }] };
    for (part, content) in [
        (LabelPart::Name, LabelContent { name: long(200), ..eu() }),
        (LabelPart::Subtitle, LabelContent { subtitle: long(200), ..eu() }),
        (LabelPart::Ingredients, LabelContent { ingredients: list(200), ..eu() }),
        (LabelPart::Statements, LabelContent { statements: vec![list(200)], ..eu() }),
        (LabelPart::Notice, LabelContent { notice: long(200), ..eu() }),
        (LabelPart::NetQuantity, LabelContent { net_quantity: long(200), ..eu() }),
        (LabelPart::Storage, LabelContent { storage: long(200), ..eu() }),
        (LabelPart::Maker, LabelContent { maker: long(200), ..eu() }),
    ] {
        for settings in every_printing() {
            assert_eq!(no_room(&content, settings), (part, None), "{settings:?}");
        }
    }
}

#[test]
fn no_number_and_no_word_is_broken() {
    let settings = LabelSettings::default();
    let wide = "261125-".repeat(12);
    let lot = LabelContent { lot: labelled("Lot", &wide), ..eu() };
    assert_eq!(no_room(&lot, settings), (LabelPart::Lot, Some(wide.clone())));
    let date = LabelContent { dates: vec![labelled("Best before", &wide)], ..eu() };
    assert_eq!(no_room(&date, settings), (LabelPart::Dates, Some(wide.clone())));
    let gtin = LabelContent { gtin: labelled("GTIN", &wide), ..eu() };
    assert_eq!(no_room(&gtin, settings), (LabelPart::Gtin, Some(wide.clone())));
    let name = LabelContent { name: wide.clone(), ..eu() };
    assert_eq!(no_room(&name, settings), (LabelPart::Name, Some(wide)));
}

#[test]
fn a_code_wider_than_the_label_is_named() {
    let codes = vec![tubtrail_documents::labels::CodeContent::Qr("x".repeat(1500))];
    let (part, _) = no_room(&LabelContent { codes, ..received() }, LabelSettings::default());
    assert_eq!(part, LabelPart::Codes);
}

#[test]
fn the_sentence_says_what_to_do() {
    let content = LabelContent { maker: long(60), ..eu() };
    let sentence = png(&content, LabelSettings::default()).expect_err("no room").to_string();
    assert!(
        sentence.starts_with("the maker has no room on a label of 60 × 40 mm in letters of 1.2 mm: ")
            && sentence.ends_with(" mm of height are missing. Take a larger label, or shorten what is on it"),
        "{sentence}"
    );
}

#[test]
fn the_largest_letters_that_have_room_are_taken_and_never_smaller_ones_than_asked_for() {
    // 1.6 mm: Safe Food for Canadians Regulations 210(2). What has room at 1.2 mm on 60 × 40 mm has none at 1.6 mm.
    let large = LabelSettings { least_letters: 1600, ..LabelSettings::default() };
    let canadian = tub(AllergenList::Ca, &hazelnut_biscuit(), None);
    assert!(png(&canadian, LabelSettings::default()).is_ok());
    assert!(matches!(png(&canadian, large), Err(LabelError::NoRoom { least_letters: 1600, .. })));
    for least_letters in [0, 799, 5001] {
        let settings = LabelSettings { least_letters, ..LabelSettings::default() };
        assert!(matches!(png(&received(), settings), Err(LabelError::Letters)));
    }
}

/// The least height of a small “x” in a drawing, in millimetres: 1118 of the 2048 units of the font, as measured in
/// the tests of its letters.
fn least_x_height(content: &LabelContent, settings: LabelSettings) -> f64 {
    let drawing = svg(content, settings).expect("a drawing");
    let scales = drawing.split(" scale(").skip(1).map(|rest| {
        let (scale, _) = rest.split_once(')').expect("a scale");
        scale.parse::<f64>().expect("a scale")
    });
    let dots = if settings.resolution == Resolution::Dpi203 { 8.0 } else { 300.0 / 25.4 };
    scales.map(|scale| scale * 1118.0 / dots).fold(f64::INFINITY, f64::min)
}

#[test]
fn no_letter_is_smaller_than_asked_for() {
    for settings in every_printing() {
        for least_letters in [900, 1050, 1200] {
            let settings = LabelSettings { least_letters, ..settings };
            for content in [eu(), received()] {
                let least = least_x_height(&content, settings);
                assert!(least >= f64::from(least_letters) / 1000.0 - 0.0005, "{settings:?}: {least} mm");
            }
        }
    }
}

#[test]
fn figures_of_the_net_quantity_are_as_high_as_asked_for() {
    // Directive 76/211/EEC Annex I point 3.1: 6 mm above 1000 g. There is room for that on 100 × 50 mm only.
    let six = |size| LabelSettings { size, least_quantity_figures: 6000, ..LabelSettings::default() };
    assert!(png(&eu(), six(LabelSize::W100H50)).is_ok());
    assert!(matches!(png(&eu(), six(LabelSize::W60H40)), Err(LabelError::NoRoom { .. })));
}

#[test]
fn a_letter_that_the_font_has_not_is_no_box_on_a_label() {
    for (part, content) in [
        (LabelPart::Name, LabelContent { name: "榛子".to_owned(), ..eu() }),
        (LabelPart::Maker, LabelContent { maker: "Northquay 🍨".to_owned(), ..eu() }),
        (LabelPart::Lot, LabelContent { lot: labelled("Lot", "奶"), ..eu() }),
    ] {
        match png(&content, LabelSettings::default()) {
            Err(LabelError::NoSuchLetter { part: named, .. }) => assert_eq!(named, part),
            other => panic!("{other:?}"),
        }
    }
    assert!(
        png(
            &LabelContent { name: "Crème brûlée, Œuf, Șofran, żurawina".to_owned(), ..eu() },
            LabelSettings { size: LabelSize::W100H50, ..LabelSettings::default() }
        )
        .is_ok()
    );
}

#[test]
fn nothing_is_printed_in_the_margin() {
    // 1.5 mm of white all round: 12 dots at 203 dpi; a letter may reach over its own width by a fraction of a dot.
    let contents = [eu(), received()];
    for content in contents {
        let file = png(&content, LabelSettings::default()).expect("a picture");
        let mut reader = png::Decoder::new(std::io::Cursor::new(file)).read_info().expect("a PNG");
        let mut rows = vec![0; reader.output_buffer_size().expect("a size")];
        reader.next_frame(&mut rows).expect("the dots");
        let black = |x: usize, y: usize| rows[y * 60 + x / 8] >> (7 - x % 8) & 1 == 0;
        let edges = (0..480_usize).flat_map(|x| (0..320_usize).map(move |y| (x, y)));
        let mut in_margin = edges.filter(|(x, y)| *x < 11 || *x >= 469 || *y < 11 || *y >= 309);
        assert_eq!(in_margin.find(|(x, y)| black(*x, *y)), None, "{}", content.name);
    }
}

#[test]
fn a_label_needs_a_name() {
    let content = LabelContent { name: "  ".to_owned(), ..eu() };
    assert!(matches!(png(&content, LabelSettings::default()), Err(LabelError::NoName)));
}
