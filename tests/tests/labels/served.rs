//! Labels over HTTP: of what was really made, in every format, read back by programs that are not ours.

use std::path::Path;

use serde_json::{Value, json};
use tubtrail_tests::{Answer, Backend, RestHouse, on_both};

use crate::tools::{rasterised, read_with_dmtx, read_with_zbar, read_with_zxing};

on_both!(
    every_format_is_read_back_at_both_resolutions,
    what_is_unknown_is_refused_and_then_printed_with_a_reason,
    what_does_not_fit_is_named,
);

/// A furnished house with two tubs, and everything their labels need. On paper: 8000 g milk and 2000 g sugar gave 9500 g of
/// base, of which 4000 g went into the tubs (3368.4 g milk, 842.1 g sugar) with 500 g of pistachio paste.
pub struct Served {
    pub house: RestHouse,
    pub tubs: Vec<String>,
    pub paste: String,
}

impl Served {
    pub fn open(backend: Backend) -> Self {
        let house = RestHouse::open(backend);
        house.furnish_labels();
        let made = house.make_two_tubs();
        Self { house, tubs: made.tubs, paste: made.paste }
    }

    pub fn give_number(&self) {
        // GS1's prefix for demonstrations.
        self.house.owner.post("/v1/items/pistachio/gtins", json!({"gtin": "9520123456788"})).expect(201).done();
    }

    pub fn label(&self, lot: &str, format: &str, query: &str) -> Answer {
        self.house.owner.get(&format!("/v1/lots/{lot}/label.{format}?{query}"))
    }
}

fn words(pieces: &Value) -> String {
    let pieces = pieces.as_array().expect("pieces");
    pieces.iter().map(|piece| piece["text"].as_str().expect("a text")).collect()
}

fn read(picture: &Path, elements: &str, link: Option<&str>) {
    let codes = read_with_zxing(picture);
    let data_matrix = codes.iter().find(|code| code.symbology == "]d2").expect("a GS1 DataMatrix");
    assert_eq!((data_matrix.kind.as_str(), data_matrix.bytes.as_slice()), ("GS1", elements.as_bytes()));
    let dmtx = String::from_utf8(read_with_dmtx(picture)).expect("ASCII");
    // libdmtx gives the FNC1 in the first place as a separator too.
    assert_eq!(dmtx.trim_end_matches('\n'), format!("\u{1d}{elements}"));
    if let Some(link) = link {
        let qr = codes.iter().find(|code| code.symbology == "]Q1").expect("a QR code");
        assert_eq!(qr.bytes.as_slice(), link.as_bytes());
        assert_eq!(String::from_utf8(read_with_zbar(picture)).expect("text"), format!("{link}\n"));
    }
}

fn every_format_is_read_back_at_both_resolutions(backend: Backend) {
    let served = Served::open(backend);
    served.give_number();
    let tub = &served.tubs[0];
    let label = served.label(tub, "json", "").expect(200).json;
    assert_eq!(words(&label["ingredients"]), "Ingredients: whole milk, sugar, pistachio paste");
    assert_eq!((&label["net_quantity"], &label["subtitle"]), (&json!("2.2 kg"), &json!("Tub 1 of 2")));
    let on = label["dates"][0]["on"].as_str().expect("a day").replace('-', "");
    let elements = format!("010952012345678815{}10{tub}", &on[2..]);
    let link = format!("https://id.gs1.org/01/09520123456788/10/{tub}?15={}", &on[2..]);
    let folder = tempfile::tempdir().expect("a folder");
    for (size, link) in [("60x40", None), ("100x50", Some(link.as_str()))] {
        // 8 dots in a millimetre; 300 dots in an inch of 25.4 mm.
        let across = if size == "60x40" { [480, 709] } else { [800, 1181] };
        for (dpi, across) in ["203", "300"].into_iter().zip(across) {
            let query = format!("size={size}&dpi={dpi}&jurisdiction=eu&language=en");
            let svg = served.label(tub, "svg", &query).expect(200);
            assert_eq!(svg.header("Content-Type"), Some("image/svg+xml"));
            assert!(svg.text().contains("Pistachio gelato"), "its description has the words");
            let png = served.label(tub, "png", &query).expect(200);
            assert_eq!(png.header("Content-Type"), Some("image/png"));
            let picture = folder.path().join("label.png");
            std::fs::write(&picture, &png.body).expect("a file");
            read(&picture, &elements, link);
            assert_eq!(u32::from_be_bytes(png.body[16..20].try_into().expect("four bytes")), across);
            let pdf = served.label(tub, "pdf", &query).expect(200);
            assert_eq!(pdf.header("Content-Type"), Some("application/pdf"));
            let paper = folder.path().join("label.pdf");
            std::fs::write(&paper, &pdf.body).expect("a file");
            read(&rasterised(&paper), &elements, link);
        }
    }
    // A scanner knows the tub by its code.
    let scan = json!({"site": "kitchen", "text": format!("]d2{elements}")});
    let scanned = served.house.owner.post("/v1/scans", scan).expect(200).json;
    assert_eq!((&scanned["kind"], &scanned["lot"]["lot"]), (&json!("lot"), &json!(tub)), "{scanned}");
    // Without a number of the item, our own.
    let received = served.label(&served.paste, "png", "").expect(200);
    let picture = folder.path().join("received.png");
    std::fs::write(&picture, &received.body).expect("a file");
    assert_eq!(String::from_utf8(read_with_zbar(&picture)).expect("text"), format!("{}\n", served.paste));
}

fn what_is_unknown_is_refused_and_then_printed_with_a_reason(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    // Of another item nobody stated anything.
    served
        .house
        .create("items", json!({"code": "cocoa", "name": "Cocoa", "kind": "ingredient", "counted": {"by": "mass"}}));
    let cocoa = served.house.receive("cocoa", "K-1", 1000);
    for format in ["json", "svg", "png", "pdf"] {
        let answer = served.label(&cocoa, format, "");
        let problem = answer.refused(409, "/problems/label-unknown");
        assert!(problem.detail().is_some_and(|detail| detail.contains("whether “Cocoa” contains")));
    }
    let prints = format!("/v1/lots/{cocoa}/prints");
    owner.post(&prints, json!({})).refused(409, "/problems/label-unknown");
    let print = owner.post(&prints, json!({"override_reason": "for the shelf", "size": "100x50"})).expect(201).json;
    assert_eq!((&print["number"], &print["override_reason"]), (&json!(1), &json!("for the shelf")));
    let drawn = owner.get(&format!("/v1/prints/{}/label.svg", print["print"])).expect(200).text();
    assert!(drawn.contains("Not everything in it is known: all allergens of Cocoa. Printed because: for the shelf"));
    owner.post(&prints, json!({"override_reason": "x"})).refused(422, "/problems/needs-reason");
    let reprint = json!({"override_reason": "for the shelf", "size": "100x50", "reprint_reason": "it fell off"});
    assert_eq!(owner.post(&prints, reprint).expect(201).json["number"], json!(2));
    assert_eq!(owner.get(&prints).expect(200).json["items"].as_array().map(Vec::len), Some(2));
}

fn what_does_not_fit_is_named(backend: Backend) {
    let served = Served::open(backend);
    let owner = &served.house.owner;
    let mut item = owner.get("/v1/item-labels/pistachio").expect(200).json;
    item["storage"] = json!("Keep at −18 °C or below. ".repeat(3) + "Do not freeze it again once it was thawed.");
    item["name"] = json!("pistachio gelato with a very long name that goes on and on and does not end before it must");
    owner.put("/v1/item-labels/pistachio", item).expect(200).done();
    let answer = served.label(&served.tubs[0], "png", "jurisdiction=us");
    let problem = answer.refused(422, "/problems/label-no-room");
    assert!(problem.detail().is_some_and(|detail| detail.contains("has no room on a label of 60 × 40 mm")));
    let named = problem.field().expect("it names the part").to_owned();
    let print = owner.post(&format!("/v1/lots/{}/prints", served.tubs[0]), json!({"jurisdiction": "us"}));
    assert_eq!(print.refused(422, "/problems/label-no-room").field(), Some(named.as_str()));
    for (query, field) in [
        ("size=61x40", "size"),
        ("dpi=200", "dpi"),
        ("jurisdiction=uk", "jurisdiction"),
        ("language=fr", "language"),
        ("copies=2", "copies"),
    ] {
        let answer = served.label(&served.tubs[0], "png", query);
        assert_eq!(answer.refused(422, "/problems/invalid").field(), Some(field), "{query}");
    }
}
