//! A delivery in a real browser: scanned, measured, one line turned away, a photo kept with it.

use serde_json::{Value, json};
use tubtrail_tests::world::PASSWORD;
use tubtrail_tests::{Backend, RestHouse, on_both};

use crate::browser::Browser;
use crate::forms::{come_in_as, hidden, page};

on_both!(
    a_cook_receives_a_delivery_by_scanning,
    a_delivery_without_scripts_and_with_mistakes,
    files_of_strangers_are_refused
);

const HERE: &str = "/delivery/kitchen";

/// A kitchen that knows milk and paste by their numbers, and a cook in it.
#[track_caller]
pub fn kitchen(backend: Backend) -> RestHouse {
    let house = RestHouse::open(backend);
    let chilled = json!({"code": "cream", "name": "Cream", "kind": "ingredient", "counted": {"by": "mass"},
        "kept": "chilled"});
    house.create("items", chilled);
    // Numbers of the ranges that GS1 keeps for examples (952).
    for (item, gtin) in [("milk", "9520123456788"), ("cream", "9520000000004")] {
        let gtin = json!({"gtin": gtin, "supplier": "dairy"});
        house.owner.post(&format!("/v1/items/{item}/gtins"), gtin).expect(201).done();
    }
    let cook = json!({"login": "cook", "name": "Ines in the kitchen", "password": PASSWORD,
        "roles": [{"role": "kitchen", "site": "kitchen"}]});
    house.owner.post("/v1/users", cook).expect(201).done();
    house
}

/// A picture of a dot: the smallest PNG there is, made by the crate that draws our labels.
fn photo() -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, 1, 1);
    encoder.set_color(png::ColorType::Grayscale);
    let mut writer = encoder.write_header().expect("a header");
    writer.write_image_data(&[128]).expect("a dot");
    writer.finish().expect("an end");
    file
}

#[track_caller]
fn only_delivery(house: &RestHouse) -> Value {
    let listed = house.owner.get("/v1/deliveries").expect(200).json;
    let id = listed["items"][0]["id"].as_i64().expect("a delivery");
    house.owner.get(&format!("/v1/deliveries/{id}")).expect(200).json
}

/// Two cases of milk of one lot are one line of 20 kg. The cream comes at 12 °C, where 5 °C is the most for what is kept cold
/// (FDA Food Code 3-202.11): it is turned away in the step in which it is measured.
fn a_cook_receives_a_delivery_by_scanning(backend: Backend) {
    let house = kitchen(backend);
    let mut browser = Browser::open(&house, "cook", HERE, "tablet", "light");
    for amount in ["10.000", "20"] {
        browser.ask("scans", json!({"text": "]C1010952012345678831030100001729120910M-118"}));
        browser.ask("see", json!({"css": format!("#line-0 input[value='{amount}']")}));
    }
    assert_eq!(browser.ask("count_of", json!({"css": ".line"})), json!(1), "the second case is added to its line");
    assert_eq!(browser.ask("value_of", json!({"label": "How much"})), json!("20"));
    assert_eq!(browser.ask("value_of", json!({"label": "Their lot, as printed on it"})), json!("M-118"));
    assert_eq!(browser.ask("value_of", json!({"label": "From whom"})), json!("dairy"));
    // The label of the cream says the article in one code, and lot and date in the other.
    browser.ask("scans", json!({"text": "]C10109520000000004"}));
    browser.ask("see", json!({"css": "#line-1"}));
    browser.ask("scans", json!({"text": "]C11729121510C-7"}));
    browser.ask("see", json!({"css": "#line-1 input[value='C-7']"}));
    assert_eq!(browser.ask("count_of", json!({"css": ".line"})), json!(2), "the other half goes into the same line");
    let cream = "#line-1";
    assert_eq!(browser.ask("value_of", json!({"label": "Their lot, as printed on it"})), json!("C-7"), "newest first");
    browser.ask("fill", json!({"label": "How much", "text": "5", "inside": cream}));
    browser.ask("fill", json!({"label": "Temperature, °C (measure it)", "text": "12,5", "inside": cream}));
    browser.ask("fill", json!({"label": "Temperature, °C", "text": "4", "inside": "#line-0"}));
    browser.ask("tick", json!({"label": "Turn it away", "inside": cream}));
    browser.ask("fill", json!({"label": "Number on their paper", "text": "DN-20417"}));
    browser.ask("press_button", json!({"name": "Write the delivery down"}));
    // A reason is missing: nothing is lost, and the field says so.
    let missing = browser.ask("text_of", json!({"css": "#line-1 .refused"}));
    assert!(missing.as_str().is_some_and(|text| text.contains("say why")), "{missing}");
    assert_eq!(browser.ask("count_of", json!({"css": "#line-1 [aria-invalid=true]"})), json!(1));
    browser.ask("picture", json!({"what": "delivery-refused"}));
    browser.ask("fill", json!({"label": "Why, or a remark", "text": "came at 12.5 degrees", "inside": cream}));
    // The tablet goes dark: what was begun is still there.
    browser.ask("go", json!({"path": HERE}));
    browser.ask("press_button", json!({"name": "Go on with it"}));
    browser.ask("see", json!({"css": "#line-1"}));
    assert_eq!(browser.ask("count_of", json!({"css": ".line"})), json!(2));
    browser.ask("key_button", json!({"name": "Write the delivery down"}));

    browser.ask("see", json!({"css": ".said"}));
    let marks = browser.ask("texts_of", json!({"css": ".arrived .mark"}));
    assert_eq!(marks, json!(["Accepted", "Turned away"]));
    let number = browser.ask("text_of", json!({"css": ".arrived .number"}));
    let delivery = only_delivery(&house);
    assert_eq!((&delivery["document"], &delivery["lines"][0]["lot"]), (&json!("DN-20417"), &number));
    assert_eq!(delivery["lines"][0]["grams"], json!(20_000));
    assert_eq!(delivery["lines"][0]["expiry"], json!({"kind": "use_by", "on": "2029-12-09"}));
    assert_eq!(delivery["lines"][1]["temperature_celsius"], json!(12.5));
    assert_eq!(delivery["lines"][1]["decision"], json!("rejected"));

    let folder = tempfile::tempdir().expect("a folder");
    let (photo_at, other_at) = (folder.path().join("note.png"), folder.path().join("note.html"));
    std::fs::write(&photo_at, photo()).expect("a file");
    std::fs::write(&other_at, "<script>alert(1)</script>").expect("a file");
    browser.ask("upload", json!({"label": "Take a photo of the paper", "file": other_at}));
    browser.ask("press_button", json!({"name": "Keep it with the delivery"}));
    let refused = browser.ask("text_of", json!({"css": ".papers-form .refused"}));
    assert!(refused.as_str().is_some_and(|text| text.contains("no photo")), "{refused}");
    browser.ask("upload", json!({"label": "Take a photo of the paper", "file": photo_at}));
    browser.ask("press_button", json!({"name": "Keep it with the delivery"}));
    browser.ask("see", json!({"css": ".papers img"}));
    browser.ask("picture", json!({"what": "delivery-arrived"}));
    let kept = house.owner.get(&format!("/v1/deliveries/{}/documents", delivery["id"])).expect(200).json;
    assert_eq!((&kept["documents"][0]["name"], &kept["documents"][0]["width"]), (&json!("note.png"), &json!(1)));

    browser.ask("press_link", json!({"name": "Labels for these lots"}));
    browser.ask("see", json!({"css": ".labels img, .labels .refused"}));
    browser.ask("picture", json!({"what": "delivery-labels"}));
    let said = browser.close();
    assert_eq!((&said["elsewhere"], &said["complaints"]), (&json!([]), &json!([])));
}

/// By the keyboard, typed; what the page sends and what is refused.
fn a_delivery_without_scripts_and_with_mistakes(backend: Backend) {
    let house = kitchen(backend);
    let mut browser = Browser::open(&house, "cook", HERE, "desk", "light");
    browser.ask("key_button", json!({"name": "Type a line"}));
    browser.ask("fill", json!({"label": "What", "text": "sugar"}));
    browser.ask("fill", json!({"label": "Their lot, as printed on it", "text": "S-9"}));
    browser.ask("fill", json!({"label": "How much", "text": "2,5"}));
    browser.ask("fill", json!({"label": "Last day", "text": "2020-01-01"}));
    browser.ask("pick", json!({"label": "From whom", "option": "dairy"}));
    browser.ask("fill", json!({"label": "Number on their paper", "text": "DN-1"}));
    browser.ask("key_button", json!({"name": "Write the delivery down"}));
    let past = browser.ask("text_of", json!({"css": "#line-0 .refused"}));
    assert!(past.as_str().is_some_and(|text| text.contains("its last day was 2020-01-01")), "{past}");
    assert_eq!(browser.ask("value_of", json!({"label": "Their lot, as printed on it"})), json!("S-9"), "kept as typed");
    browser.ask("fill", json!({"label": "Last day", "text": "2999-01-01"}));
    browser.ask("key_button", json!({"name": "Write the delivery down"}));
    browser.ask("see", json!({"css": ".said"}));
    let delivery = only_delivery(&house);
    assert_eq!(delivery["lines"][0]["grams"], json!(2500), "2.5 kg");
    // Its file is of no origin, runs nothing and is saved, not shown.
    let client = &house.owner;
    let path = format!("/v1/deliveries/{}/documents?name=Bon%20d%27%C3%A9t%C3%A9.png", delivery["id"]);
    let kept = client.request("POST", &path).body("application/octet-stream", photo()).send().expect(201);
    let shown = client.get(&format!("/v1/documents/{}", kept.json["document"])).expect(200);
    assert_eq!(shown.header("Content-Type"), Some("image/png"));
    assert_eq!(shown.header("X-Content-Type-Options"), Some("nosniff"));
    assert!(shown.header("Content-Security-Policy").is_some_and(|policy| policy.contains("sandbox")));
    assert!(shown.header("Content-Disposition").is_some_and(|said| said.starts_with("attachment; filename=\"Bon")));
    let large = vec![0_u8; 8 * 1024 * 1024 + 1];
    client.request("POST", &path).body("application/octet-stream", large).send().refused(413, "/problems/too-large");
    browser.close();
}

/// A form with files as browsers send it (RFC 7578).
fn multipart(mark: &str, file: &[u8]) -> Vec<u8> {
    let mut body = format!(
        "--edge\r\nContent-Disposition: form-data; name=\"mark\"\r\n\r\n{mark}\r\n--edge\r\n\
         Content-Disposition: form-data; name=\"photo\"; filename=\"../note.png\"\r\n\
         Content-Type: image/png\r\n\r\n"
    )
    .into_bytes();
    body.extend(file);
    body.extend(b"\r\n--edge--\r\n");
    body
}

fn files_of_strangers_are_refused(backend: Backend) {
    let house = kitchen(backend);
    house.receive("milk", "M-1", 8000);
    let delivery = only_delivery(&house)["id"].to_string();
    let client = house.world.server.client();
    let cookie = come_in_as(&client, "cook", "/delivery");
    let path = format!("/delivery/kitchen/{delivery}");
    let mark = hidden(&page(&client, &path, &cookie).text(), "mark");
    let to = format!("{path}/documents");
    let send = |cookie: &str, from: &str, mark: &str, file: &[u8]| {
        let request = client.request("POST", &to).header("Cookie", cookie).header("Sec-Fetch-Site", from);
        request.body("multipart/form-data; boundary=edge", multipart(mark, file)).send()
    };
    assert_eq!(send(&cookie, "cross-site", &mark, &photo()).status, 400);
    assert_eq!(send(&cookie, "same-origin", "0123456789abcdef0123456789abcdef", &photo()).status, 400);
    assert_eq!(send("", "same-origin", &mark, &photo()).status, 303, "nobody is signed in");
    let large = send(&cookie, "same-origin", &mark, &vec![0; 9 * 1024 * 1024]);
    assert_eq!(large.status, 413);
    assert!(large.text().contains("at most 8 MB"), "it is read to its end, and the page says why");
    let listed = format!("/v1/deliveries/{delivery}/documents");
    assert_eq!(house.owner.get(&listed).expect(200).json["documents"], json!([]), "nothing was kept");
    assert_eq!(send(&cookie, "same-origin", &mark, &photo()).status, 303);
    let kept = house.owner.get(&listed).expect(200).json;
    assert_eq!(kept["documents"][0]["name"], json!("note.png"), "without the folder it came from");
    let file = format!("/delivery/kitchen/documents/{}", kept["documents"][0]["document"]);
    let shown = page(&client, &file, &cookie);
    assert_eq!((shown.status, shown.header("X-Content-Type-Options")), (200, Some("nosniff")));
    assert!(shown.header("Content-Disposition").is_some_and(|said| said.starts_with("attachment")));
    assert_eq!(page(&client, &file, "").status, 303);
}
