//! Every printed code, read by two decoders that are not ours: from the dots at both resolutions, and from the paper.

use std::path::Path;

use tubtrail_documents::labels::{CodeContent, LabelContent, LabelError, LabelSettings, LabelSize, pdf, png, svg};
use tubtrail_domain::allergens::AllergenList;

use crate::samples::{
    ELEMENTS, ELEMENTS_WITH_SEPARATOR, LINK, OWN_NUMBER, component, every_printing, hazelnut_biscuit, received, tub,
};
use crate::tools::{Read, rasterised, read_with_dmtx, read_with_zbar, read_with_zxing};

/// The label as dots, and as paper that was made dots again.
fn pictures(content: &LabelContent, settings: LabelSettings, folder: &Path) -> Vec<std::path::PathBuf> {
    let (dots, paper) = (folder.join("label.png"), folder.join("label.pdf"));
    std::fs::write(&dots, png(content, settings).expect("a picture")).expect("a file");
    std::fs::write(&paper, pdf(content, settings).expect("a paper")).expect("a file");
    vec![dots, rasterised(&paper)]
}

fn assert_read(content: &LabelContent, settings: LabelSettings, check: impl Fn(&Path)) {
    let folder = tempfile::tempdir().expect("a folder");
    for picture in pictures(content, settings, folder.path()) {
        check(&picture);
    }
}

fn gs1(elements: &str) -> Read {
    Read { symbology: "]d2".to_owned(), kind: "GS1".to_owned(), bytes: elements.as_bytes().to_vec() }
}

fn qr(text: &str) -> Read {
    Read { symbology: "]Q1".to_owned(), kind: "Text".to_owned(), bytes: text.as_bytes().to_vec() }
}

#[test]
fn a_tubs_datamatrix_is_read_with_its_separators() {
    for elements in [ELEMENTS, ELEMENTS_WITH_SEPARATOR] {
        let codes = vec![CodeContent::GsOneDataMatrix(elements.to_owned())];
        let content = LabelContent { codes, ..tub(AllergenList::Eu, &hazelnut_biscuit(), None) };
        for settings in every_printing() {
            assert_read(&content, settings, |picture| {
                assert_eq!(read_with_zxing(picture), [gs1(elements)], "{settings:?}");
                let read = String::from_utf8(read_with_dmtx(picture)).expect("ASCII");
                // libdmtx gives the FNC1 in the first place as a separator too.
                assert_eq!(read.trim_end_matches('\n'), format!("\u{1d}{elements}"), "{settings:?}");
            });
        }
    }
}

#[test]
fn a_link_and_our_own_number_are_read() {
    for (content, text) in [(received(), OWN_NUMBER), (component(), LINK)] {
        for settings in every_printing() {
            assert_read(&content, settings, |picture| {
                assert_eq!(read_with_zxing(picture), [qr(text)], "{settings:?}");
                assert_eq!(
                    String::from_utf8(read_with_zbar(picture)).expect("text"),
                    format!("{text}\n"),
                    "{settings:?}"
                );
            });
        }
    }
}

#[test]
fn two_codes_side_by_side_are_both_read() {
    let codes = vec![CodeContent::GsOneDataMatrix(ELEMENTS.to_owned()), CodeContent::Qr(LINK.to_owned())];
    let content = LabelContent { codes, ..tub(AllergenList::Us, &hazelnut_biscuit(), None) };
    for settings in every_printing().into_iter().filter(|settings| settings.size == LabelSize::W100H50) {
        assert_read(&content, settings, |picture| {
            assert_eq!(read_with_zxing(picture), [qr(LINK), gs1(ELEMENTS)], "{settings:?}");
            assert_eq!(read_with_zbar(picture), format!("{LINK}\n").as_bytes());
            assert_eq!(read_with_dmtx(picture), format!("\u{1d}{ELEMENTS}\n").as_bytes());
        });
    }
}

/// The corners of black rectangles in the SVG, which counts in dots: the codes and the lines.
fn corners(drawing: &str) -> Vec<f32> {
    let (_, path) = drawing.rsplit_once(r#"shape-rendering="crispEdges" d=""#).expect("a path");
    let (path, _) = path.split_once('"').expect("its end");
    let figures = path.split(|character: char| !character.is_ascii_digit() && character != '.');
    figures.filter(|figure| !figure.is_empty()).map(|figure| figure.parse().expect("a figure")).collect()
}

#[test]
fn modules_are_whole_dots() {
    for content in [received(), tub(AllergenList::Eu, &hazelnut_biscuit(), None)] {
        for settings in every_printing() {
            let drawing = svg(&content, settings).expect("a drawing");
            let corners = corners(&drawing);
            assert!(corners.len() > 400, "a code has many corners");
            assert!(corners.iter().all(|corner| corner.fract() == 0.0), "{settings:?}");
        }
    }
}

#[test]
fn what_no_code_holds_is_an_error() {
    let refused = |code| {
        let content = LabelContent { codes: vec![code], ..received() };
        matches!(png(&content, LabelSettings::default()), Err(LabelError::Code(_)))
    };
    assert!(refused(CodeContent::Qr("x".repeat(4000))));
    assert!(refused(CodeContent::GsOneDataMatrix("1".repeat(4000))));
    assert!(refused(CodeContent::GsOneDataMatrix("\u{1d}0109520123456788".to_owned())), "FNC1 opens it by itself");
    assert!(refused(CodeContent::GsOneDataMatrix("010952012345678810A\u{1d}".to_owned())));
}
