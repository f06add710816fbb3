//! Imports: master data from CSV files, all of a file or nothing.

use std::sync::Arc;

use tubtrail_operations::equipment::Equipment;
use tubtrail_operations::imports::{ImportProgress, Imported};
use tubtrail_operations::items::{CountedBy, Item, ItemKind, Keeping};
use tubtrail_operations::master_data::Master;
use tubtrail_operations::partners::Partner;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::recipes::Recipe;
use tubtrail_operations::sites::{Site, SiteKind};
use tubtrail_operations::{Actor, Grams, Grant, OperationError, Request, Role};
use tubtrail_tests::house::{KITCHEN, equipment, item, partner, recipe, site};
use tubtrail_tests::{Backend, TestHouse, on_both};

on_both!(
    every_noun_comes_in_as_it_was_written,
    the_same_file_again_changes_nothing,
    what_differs_gets_a_new_version,
    a_bad_file_leaves_nothing,
    every_bad_row_is_named,
    an_import_tells_how_far_it_is,
    only_an_owner_everywhere_imports,
    the_largest_file_is_taken,
    columns_that_may_be_missing_leave_what_stands,
);

const SITES: &str = "\u{feff}code,name,kind,time_zone,gln,active\r\n\
    quay,Kitchen on the quay,kitchen,Europe/Lisbon,6291041500213,true\r\n\
    cellar,\"Cellar, old\",store_room,Europe/Lisbon,,FALSE\r\n";

const PARTNERS: &str = "name,code,contact,supplies,takes_tubs,active\n\
    \"Hollow \"\"Farm\"\"\",hollow-farm,\"Morning round\n555 0101\",true,,\n\
    Café Crème,cafe-creme,,,true,true\n";

const ITEMS: &str = "code,name,kind,counted_by,density_kg_per_m3,piece_grams,percent_vol,sweetened,tracked,kept,\
    warmest_arrival_celsius,portion_grams,shelf_life_days,active\n\
    whole-milk,Whole milk,ingredient,volume,1032.0,,,,,milk_or_shell_eggs,6.5,,,\n\
    egg,Egg,ingredient,piece,,58.25,,,true,,,,,\n\
    rum,Rum,ingredient,strength,,,40.0,false,,,,,,\n\
    tap-water,Water,ingredient,,,,,,false,,,,,\n\
    fior,Fior di latte,flavour,mass,,,,,,frozen,,80,60,true\n";

const RECIPES: &str = "code,item,name,expected_yield_grams,maturing_minutes,method,active,line_item,line_grams\n\
    white-5,white-base,White base,4900,,\"Heat.\nCool.\",,milk,4000.5\n\
    ,,,,,,,sugar,1000\n\
    white-5b,white-base,White base,4900,240,,,milk,5000\n";

const EQUIPMENT: &str = "code,name,site,touches,active\n\
    freezer,Batch freezer,kitchen,flavour base,\n\
    kettle,Kettle,kitchen,base,true\n";

fn import(house: &TestHouse, noun: &str, file: &str) -> Result<Imported, OperationError> {
    Ok(house.tubtrail.import(&Request::system(), noun, file.as_bytes())?.answer)
}

#[track_caller]
fn imported(house: &TestHouse, noun: &str, file: &str) -> (u32, u32, u32) {
    let Imported { created, changed, unchanged } =
        import(house, noun, file).unwrap_or_else(|error| panic!("{noun}: {error}"));
    (created, changed, unchanged)
}

#[track_caller]
fn get<M: Master>(house: &TestHouse, code: &str) -> M {
    house.tubtrail.get(&Request::system(), code).unwrap_or_else(|error| panic!("{code}: {error}"))
}

/// Its number of versions.
#[track_caller]
fn versions<M: Master>(house: &TestHouse, code: &str) -> usize {
    house.tubtrail.versions::<M>(&Request::system(), code).unwrap_or_else(|error| panic!("{code}: {error}")).len()
}

/// The second line of a recipe stands under the first with the recipe's columns empty, but for the code.
fn recipes_file() -> String {
    RECIPES.replace("\n,,,,,,,sugar", "\nwhite-5,,,,,,,sugar")
}

fn every_noun_comes_in_as_it_was_written(backend: Backend) {
    let house = TestHouse::new(backend);
    assert_eq!(imported(&house, "sites", SITES), (2, 0, 0));
    let quay = Site {
        name: "Kitchen on the quay".into(),
        gln: Some("6291041500213".into()),
        version: Some(1),
        ..site("quay", SiteKind::Kitchen)
    };
    assert_eq!(get::<Site>(&house, "quay"), quay);
    let cellar =
        Site { name: "Cellar, old".into(), active: false, version: Some(1), ..site("cellar", SiteKind::StoreRoom) };
    assert_eq!(get::<Site>(&house, "cellar"), cellar);

    assert_eq!(imported(&house, "partners", PARTNERS), (2, 0, 0));
    let farm = Partner {
        name: "Hollow \"Farm\"".into(),
        contact: Some("Morning round\n555 0101".into()),
        version: Some(1),
        ..partner("hollow-farm", true)
    };
    assert_eq!(get::<Partner>(&house, "hollow-farm"), farm);
    let cafe = Partner { name: "Café Crème".into(), version: Some(1), ..partner("cafe-creme", false) };
    assert_eq!(get::<Partner>(&house, "cafe-creme"), cafe);

    assert_eq!(imported(&house, "items", ITEMS), (5, 0, 0));
    let of = |code: &str, name: &str, kind, counted| Item {
        name: name.into(),
        counted,
        version: Some(1),
        ..item(code, kind, true)
    };
    let density = CountedBy::Volume { density_kg_per_m3: Amount("1032".into()) };
    let milk = Item {
        kept: Keeping::MilkOrShellEggs,
        warmest_arrival_celsius: Some(6.5),
        ..of("whole-milk", "Whole milk", ItemKind::Ingredient, density)
    };
    assert_eq!(get::<Item>(&house, "whole-milk"), milk);
    let piece = CountedBy::Piece { piece_grams: Grams::from_mg(58_250) };
    assert_eq!(get::<Item>(&house, "egg"), of("egg", "Egg", ItemKind::Ingredient, piece));
    let strength = CountedBy::Strength { percent_vol: Amount("40".into()), sweetened: false };
    assert_eq!(get::<Item>(&house, "rum"), of("rum", "Rum", ItemKind::Ingredient, strength));
    let water = Item { tracked: false, ..of("tap-water", "Water", ItemKind::Ingredient, CountedBy::Mass) };
    assert_eq!(get::<Item>(&house, "tap-water"), water);
    let fior = Item {
        kept: Keeping::Frozen,
        portion_grams: Some(Grams::from_mg(80_000)),
        shelf_life_days: Some(60),
        ..of("fior", "Fior di latte", ItemKind::Flavour, CountedBy::Mass)
    };
    assert_eq!(get::<Item>(&house, "fior"), fior);

    assert_eq!(imported(&house, "recipes", &recipes_file()), (2, 0, 0));
    let mut white = Recipe {
        name: "White base".into(),
        method: Some("Heat.\nCool.".into()),
        maturing_minutes: Some(720),
        version: Some(1),
        ..recipe("white-5", "white-base", &[("milk", 4_000), ("sugar", 1_000)], 4_900)
    };
    white.lines[0].grams = Grams::from_mg(4_000_500);
    assert_eq!(get::<Recipe>(&house, "white-5"), white);
    assert_eq!(get::<Recipe>(&house, "white-5b").maturing_minutes, Some(240));

    assert_eq!(imported(&house, "equipment", EQUIPMENT), (2, 0, 0));
    let freezer = Equipment {
        name: "Batch freezer".into(),
        version: Some(1),
        ..equipment("freezer", KITCHEN, &[ItemKind::Base, ItemKind::Flavour])
    };
    assert_eq!(get::<Equipment>(&house, "freezer"), freezer);
}

fn the_same_file_again_changes_nothing(backend: Backend) {
    let house = TestHouse::new(backend);
    let recipes = recipes_file();
    let files =
        [("sites", SITES), ("partners", PARTNERS), ("items", ITEMS), ("recipes", &recipes), ("equipment", EQUIPMENT)];
    let first: Vec<u32> = files.iter().map(|(noun, file)| imported(&house, noun, file).0).collect();
    for ((noun, file), count) in files.iter().zip(first) {
        assert_eq!(imported(&house, noun, file), (0, 0, count), "{noun}");
    }
    assert_eq!(versions::<Site>(&house, "quay"), 1);
    assert_eq!(versions::<Partner>(&house, "hollow-farm"), 1);
    for code in ["whole-milk", "egg", "rum", "tap-water", "fior"] {
        assert_eq!(versions::<Item>(&house, code), 1, "{code}");
    }
    assert_eq!(versions::<Recipe>(&house, "white-5"), 1);
    assert_eq!(versions::<Equipment>(&house, "freezer"), 1);
}

fn what_differs_gets_a_new_version(backend: Backend) {
    let house = TestHouse::new(backend);
    imported(&house, "items", ITEMS);
    let measured = ITEMS.replace("1032.0", "1031.5").replace(",80,60,", ",80,,");
    assert_eq!(imported(&house, "items", &measured), (0, 2, 3));
    let milk: Item = get(&house, "whole-milk");
    assert_eq!(milk.version, Some(2));
    assert_eq!(milk.counted, CountedBy::Volume { density_kg_per_m3: Amount("1031.5".into()) });
    assert_eq!(get::<Item>(&house, "fior").shelf_life_days, None, "an empty cell is an absent value");
    assert_eq!((versions::<Item>(&house, "fior"), versions::<Item>(&house, "egg")), (2, 1));
    // A file from before that column was there takes nothing away.
    let mut told: Vec<String> = measured.lines().map(|line| format!("{line},")).collect();
    told[0].push_str("warn_days");
    told[1].push('1');
    let told = told.join("\n");
    assert_eq!(imported(&house, "items", &told), (0, 1, 4));
    assert_eq!(get::<Item>(&house, "whole-milk").warn_days, Some(1));
    assert_eq!(imported(&house, "items", &measured), (0, 0, 5));
    assert_eq!(get::<Item>(&house, "whole-milk").warn_days, Some(1));

    imported(&house, "recipes", &recipes_file());
    let sweeter = recipes_file().replace("sugar,1000", "sugar,1000.001");
    assert_eq!(imported(&house, "recipes", &sweeter), (0, 1, 1));
    assert_eq!(get::<Recipe>(&house, "white-5").lines[1].grams.mg(), 1_000_001);
}

fn a_bad_file_leaves_nothing(backend: Backend) {
    let house = TestHouse::new(backend);
    let recipes = recipes_file();
    let before = house.tubtrail.is_ready().expect("the house stands");
    for (noun, file, find, replace, word, field) in [
        ("sites", SITES, "store_room", "cave", "invalid", "line 3: kind"),
        ("sites", SITES, "cellar,", "Cellar,", "invalid", "line 3: code"),
        ("sites", SITES, "cellar,", "quay,", "repeated", "line 3: code"),
        ("sites", SITES, "FALSE", "no", "invalid", "line 3: active"),
        ("sites", SITES, "6291041500213", "6291041500231", "invalid", "line 2: gln"),
        ("sites", SITES, "Europe/Lisbon,6", "Lisbon,6", "invalid", "line 2: time_zone"),
        ("sites", SITES, "kind", "sort", "invalid", "line 1: sort"),
        ("sites", SITES, ",gln", ",kind", "repeated", "line 1: kind"),
        ("sites", SITES, ",Europe/Lisbon,,", ",,,", "invalid", "line 3: time_zone"),
        // The cell above runs over two lines, so this partner begins on the fourth.
        ("partners", PARTNERS, "cafe-creme,,,true", "cafe-creme,,,", "invalid", "line 4: supplies"),
        ("partners", PARTNERS, "0101\"", "0101", "invalid", "line 2"),
        ("items", ITEMS, "1032.0", "1.032", "invalid", "line 2: density_kg_per_m3"),
        ("items", ITEMS, "volume,1032.0", "volume,", "invalid", "line 2: density_kg_per_m3"),
        ("items", ITEMS, "volume", "litre", "invalid", "line 2: counted_by"),
        ("items", ITEMS, "6.5", "warm", "invalid", "line 2: warmest_arrival_celsius"),
        ("items", ITEMS, "6.5", "NaN", "invalid", "line 2: warmest_arrival_celsius"),
        ("items", ITEMS, "58.25", "58.2505", "invalid", "line 3: piece_grams"),
        ("items", ITEMS, "piece,,58.25", "piece,1030,58.25", "invalid", "line 3: density_kg_per_m3"),
        ("items", ITEMS, "40.0,false", "24.0,true", "needs-density", "line 4: sweetened"),
        ("items", ITEMS, "fior,Fior di latte,flavour", "sugar,Sugar,component", "invalid", "line 6: kind"),
        ("items", ITEMS, ",80,60", ",80,2.5", "invalid", "line 6: shelf_life_days"),
        ("recipes", &recipes, "sugar,1000", "sugra,1000", "unknown-code", "line 4: line_item"),
        ("recipes", &recipes, "sugar,1000", "milk,1000", "repeated", "line 4: line_item"),
        ("recipes", &recipes, "sugar,1000", "sugar,0", "invalid", "line 4: line_grams"),
        ("recipes", &recipes, "sugar,1000", "sugar,", "invalid", "line 4: line_grams"),
        ("recipes", &recipes, "4900,,", "4900,half,", "invalid", "line 2: maturing_minutes"),
        ("recipes", &recipes, "4900,,", "6000,,", "invalid", "line 2: expected_yield_grams"),
        ("recipes", &recipes, "white-5,,", "white-5,yellow-base,", "invalid", "line 4: item"),
        ("recipes", &recipes, "white-5b,", "white-5,", "invalid", "line 5: maturing_minutes"),
        ("recipes", &recipes, "\nwhite-5,,", "\nc,praline,C,1,,,,milk,1\nwhite-5,,", "repeated", "line 5: code"),
        ("equipment", EQUIPMENT, "kitchen,base", "kitchen,base cream", "invalid", "line 3: touches"),
        ("equipment", EQUIPMENT, "kitchen,base", "kitchen,base base", "repeated", "line 3: touches"),
        ("equipment", EQUIPMENT, "kitchen,base", "nowhere,base", "unknown-code", "line 3: site"),
        ("shoes", SITES, "", "", "not-found", ""),
    ] {
        let bad = file.replacen(find, replace, 1);
        let error = import(&house, noun, &bad).expect_err(&bad);
        let at = error.field.as_deref().unwrap_or("");
        assert_eq!((error.problem.word, at), (word, field), "{noun}, {find} -> {replace}: {error}");
        if let Some((line, _)) = field.split_once(':') {
            assert!(error.detail.to_string().starts_with(line), "the sentence names the line too: {}", error.detail);
        }
    }
    assert_eq!(house.tubtrail.is_ready().expect("the house stands"), before, "refusals leave no entry");
    for code in ["quay", "cellar"] {
        assert!(house.tubtrail.get::<Site>(&Request::system(), code).is_err(), "{code}");
    }
    assert_eq!(imported(&house, "sites", SITES), (2, 0, 0), "put right, it is taken");
}

/// Line 3 is of no kind there is, line 4 is fine, line 5 has a name that is too long, line 6 has a portion that is no number.
/// What makes no sense comes before the rest.
fn every_bad_row_is_named(backend: Backend) {
    let house = TestHouse::new(backend);
    let head = ITEMS.lines().next().expect("a head");
    let row = |code: &str, name: &str, kind: &str, portion: &str| format!("{code},{name},{kind},,,,,,,,,{portion},,\n");
    let rows = [
        row("pear", "Pear", "ingredient", ""),
        row("plum", "Plum", "fruit", ""),
        row("fig", "Fig", "ingredient", ""),
        row("date", &"d".repeat(200), "ingredient", ""),
        row("lime", "Lime", "ingredient", "some"),
    ];
    let refused = import(&house, "items", &format!("{head}\n{}", rows.concat())).unwrap_err();
    let also: Vec<_> = refused.also.iter().map(|fault| fault.field.as_deref().unwrap_or("")).collect();
    assert_eq!(refused.field.as_deref(), Some("line 3: kind"));
    assert_eq!(also, ["line 6: portion_grams", "line 5: name"]);
    assert!(house.tubtrail.get::<Item>(&Request::system(), "pear").is_err(), "nothing was written down");
    // Of a file that is wrong throughout, a hundred rows are named.
    let all: String = (0..300).map(|number| row(&format!("item-{number}"), "Item", "fruit", "")).collect();
    let refused = import(&house, "items", &format!("{head}\n{all}")).unwrap_err();
    assert_eq!(refused.also.len(), 99);
}

/// Two sites in two rows; a recipe in two rows and one in one.
fn an_import_tells_how_far_it_is(backend: Backend) {
    let house = TestHouse::new(backend);
    for (noun, file, rows) in [("sites", SITES, 2), ("recipes", recipes_file().as_str(), 3)] {
        let progress = Arc::<ImportProgress>::default();
        assert_eq!(progress.so_far(), (0, 0));
        let taken = house.tubtrail.import_telling(&Request::system(), noun, file.as_bytes(), &progress);
        taken.unwrap_or_else(|error| panic!("{noun}: {error}"));
        assert_eq!(progress.so_far(), (rows, rows), "{noun}");
    }
}

fn only_an_owner_everywhere_imports(backend: Backend) {
    let house = TestHouse::new(backend);
    for (role, site_id) in [(Role::Kitchen, None), (Role::Inspector, None), (Role::Owner, Some(1))] {
        let who = Request::of(Actor { name: "user:someone".into(), grants: vec![Grant { role, site_id }] });
        let error = house.tubtrail.import(&who, "sites", SITES.as_bytes()).map(|done| done.answer);
        assert_eq!(error.expect_err("not theirs").problem.word, "forbidden", "{role:?} {site_id:?}");
    }
}

fn the_largest_file_is_taken(backend: Backend) {
    let house = TestHouse::new(backend);
    let rows = (0..10_000).map(|number| format!("p-{number},Partner {number},true,,,\n"));
    let file = format!("code,name,supplies,takes_tubs,contact,active\n{}", rows.collect::<String>());
    assert_eq!(imported(&house, "partners", &file), (10_000, 0, 0));
    let error = import(&house, "partners", &format!("{file}p,P,true,,,\n")).expect_err("one too many");
    assert_eq!((error.problem.word, error.field.as_deref()), ("too-large", Some("line 10002")));
}

fn columns_that_may_be_missing_leave_what_stands(backend: Backend) {
    let house = TestHouse::new(backend);
    let with = "code,name,supplies,takes_tubs,contact,active,gln,address\n\
        orchard,Orchard,true,,,,6291041500213,\"Lane 3\nNorthquay\"\n";
    assert_eq!(imported(&house, "partners", with), (1, 0, 0));
    let orchard = Partner {
        name: "Orchard".into(),
        gln: Some("6291041500213".into()),
        address: Some("Lane 3\nNorthquay".into()),
        version: Some(1),
        ..partner("orchard", true)
    };
    assert_eq!(get::<Partner>(&house, "orchard"), orchard);
    let without = "code,name,supplies,takes_tubs,contact,active\norchard,Old orchard,true,,,\n";
    assert_eq!(imported(&house, "partners", without), (0, 1, 0));
    assert_eq!(
        get::<Partner>(&house, "orchard"),
        Partner { name: "Old orchard".into(), version: Some(2), ..orchard.clone() }
    );
    let emptied = "code,name,supplies,takes_tubs,contact,active,address\norchard,Old orchard,true,,,,\n";
    assert_eq!(imported(&house, "partners", emptied), (0, 1, 0));
    let stands = get::<Partner>(&house, "orchard");
    assert_eq!((stands.gln, stands.address), (orchard.gln, None), "an empty cell is an absent value");
    let wrong = "code,name,supplies,takes_tubs,contact,active,gln\norchard,Orchard,true,,,,6291041500214\n";
    let error = import(&house, "partners", wrong).expect_err("a digit is mistyped");
    assert_eq!(error.field.as_deref(), Some("line 2: gln"));
}
