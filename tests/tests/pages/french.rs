//! A French-speaking house: what operations say is said in French too, to the last sentence.

use serde_json::{Value, json};
use tubtrail_tests::{Backend, on_both};

use crate::browser::Browser;
use crate::shop::Shop;

on_both!(nothing_is_said_in_english_to_who_reads_french);

/// French has blanks that do not break before high signs and within quotes; here they are blanks like any other.
#[track_caller]
fn text(said: &Value) -> String {
    said.as_str().unwrap_or_else(|| panic!("{said} is no text")).replace('\u{a0}', " ")
}

#[track_caller]
fn texts(said: &Value) -> Vec<String> {
    said.as_array().unwrap_or_else(|| panic!("{said} is no list")).iter().map(text).collect()
}

/// What stands between two texts in a sentence.
#[track_caller]
fn between<'a>(sentence: &'a str, before: &str, after: &str) -> &'a str {
    let rest = sentence.split_once(before).unwrap_or_else(|| panic!("no {before:?}: {sentence}")).1;
    rest.split_once(after).unwrap_or_else(|| panic!("no {after:?}: {sentence}")).0
}

/// No part of the page is marked as English, and none is English unmarked.
#[track_caller]
fn is_french(browser: &mut Browser, picture: &str) {
    let path = browser.ask("at", json!({}));
    assert_eq!(browser.ask("attribute_of", json!({"css": "html", "name": "lang"})), json!("fr"), "{path}");
    assert_eq!(browser.ask("count_of", json!({"css": "main [lang=en]"})), json!(0), "{path}");
    let page = text(&browser.ask("text_of", json!({"css": "main"}))).to_lowercase();
    for word in ["the", "is", "and", "not", "this", "there", "of", "was"] {
        assert!(!page.split_whitespace().any(|one| one == word), "{path}: {word}: {page}");
    }
    browser.ask("picture", json!({"what": format!("french-{picture}")}));
}

fn nothing_is_said_in_english_to_who_reads_french(backend: Backend) {
    let shop = Shop::open(backend);
    let (made, owner) = (&shop.made, &shop.house.owner);
    let tub = &made.tubs[0];
    let asked = json!({"site": "harbour", "avoid": ["pistachio"]});
    let check = owner.post("/v1/allergen-checks", asked).expect(200);
    let told = &check.json["tubs"][0]["allergens"][0]["because"];
    let told: Vec<&str> = told.as_array().expect("reasons").iter().filter_map(Value::as_str).collect();
    assert!(told[0].contains("says that it contains pistachio"), "programs are told in English: {told:?}");
    let statement = between(told[0], "statement ", " (");
    let batch = between(told[1], "went into batch ", ".");
    let (number, begun) = (batch.split(' ').next().unwrap_or_default(), between(batch, "begun ", ")"));
    let batch = format!("fabrication {number} (Pistachio, commencée {begun}))");

    let mut browser = Browser::open(&shop.house, "owner", "/counter/harbour", "phone", "light");
    browser.ask("press_button", json!({"name": "Français"}));
    browser.ask("go", json!({"path": "/counter/harbour?avoid=pistachio"}));
    browser.ask("reveal", json!({"name": "Pourquoi", "inside": ".answers"}));
    let paste = &made.paste;
    assert_eq!(
        texts(&browser.ask("texts_of", json!({"css": ".answers details p"}))),
        [
            format!(
                "Le lot {paste} de « pistachio-paste » (dairy, leur lot 24-118) : la déclaration {statement} (Specification \
                 7) dit que cela contient : pistache."
            ),
            format!("Le lot {paste} de « pistachio-paste » est entré dans la {batch}."),
            format!("La {batch} a donné le bac {tub} de « pistachio »."),
        ]
    );
    is_french(&mut browser, "counter");

    // A form that is refused says why at its field; a hold names what it holds.
    browser.ask("go", json!({"path": format!("/lots/{tub}")}));
    browser.ask("reveal", json!({"name": "Le bloquer"}));
    browser.ask("fill", json!({"label": "Pourquoi personne ne doit l'utiliser", "text": " "}));
    browser.ask("press_button", json!({"name": "Le bloquer"}));
    assert_eq!(text(&browser.ask("text_of", json!({"css": ".refused"}))), "dites pourquoi, en quelques mots");
    is_french(&mut browser, "hold-refused");
    browser.ask("go", json!({"path": "/tracing?hand=24-999"}));
    let refused = text(&browser.ask("text_of", json!({"css": ".refused"})));
    assert!(refused.starts_with("aucun lot n'a ce numéro ou ce code ("), "{refused}");
    is_french(&mut browser, "tracing");

    // A recall that finds nothing, and one that does.
    browser.ask("go", json!({"path": "/recalls/begin?by=supplier_lots&supplier=dairy&codes=M-7"}));
    assert_eq!(
        text(&browser.ask("text_of", json!({"css": ".refused"}))),
        "aucun lot ne correspond : regardez encore, ou commencez par les livraisons ou les jours où il a pu arriver"
    );
    is_french(&mut browser, "recall-refused");
    let drill = json!({"kind": "drill", "class": 2, "hazard": "verre", "seeds": [{"by": "lots", "lots": [made.milk]}]});
    let recall = owner.post("/v1/recalls", drill).expect(201).json["recall"].clone();
    for (path, picture) in [
        (format!("/recalls/{recall}"), "recall"),
        (format!("/tracing/lots/{}", made.paste), "trace"),
        ("/making/kitchen".to_owned(), "making"),
        ("/delivery/kitchen".to_owned(), "delivery"),
        ("/stock/harbour".to_owned(), "stock"),
        ("/upkeep".to_owned(), "upkeep"),
        (format!("/labels/harbour?lot={tub}"), "labels"),
        ("/lots/261125-0000-0".to_owned(), "unknown-lot"),
    ] {
        browser.ask("go", json!({"path": path}));
        is_french(&mut browser, picture);
    }
    assert_eq!(
        text(&browser.ask("text_of", json!({"css": ".refused"}))),
        "Un numéro de lot est mal tapé. ce n'est pas un numéro de lot de chez nous : un chiffre est mal tapé ou deux sont inversés"
    );
    let said = browser.close();
    assert_eq!(said["complaints"], json!([]), "the browser has nothing to complain of");
}
