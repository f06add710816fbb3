//! The made-up maker: Northquay, a harbour town that is on no map, with one kitchen, three shops and a restaurant.
//! Names, recipes and suppliers are invented.

/// Code, name, kind.
pub const SITES: &[(&str, &str, &str)] = &[
    ("kitchen", "Kitchen on the quay", "kitchen"),
    ("harbour", "Harbour shop", "shop"),
    ("mill-lane", "Mill Lane shop", "shop"),
    ("pier", "Pier shop", "shop"),
];

/// The shops among them.
pub const SHOPS: &[&str] = &["harbour", "mill-lane", "pier"];

/// Where its days are counted.
pub const TIME_ZONE: &str = "Europe/Lisbon";

/// Code, name, supplies (else it takes tubs), contact.
pub const PARTNERS: &[(&str, &str, bool, &str)] = &[
    ("brackwater-dairy", "Brackwater Dairy", true, "morning round"),
    ("gullwing-eggs", "Gullwing Eggs", true, "egg room"),
    ("ninefold-dry", "Ninefold Dry Goods", true, "order desk"),
    ("kestrel-nuts", "Kestrel Nut Works", true, "mill office"),
    ("gorse-fruit", "Gorse Hill Fruit", true, "cold store"),
    ("ferry-still", "Ferry Stillhouse", true, "still room"),
    ("blue-door", "Blue Door Restaurant", false, "kitchen door"),
];

/// An ingredient: code, name, supplier, how it is counted, how it is kept, how many days it is good for when it arrives, how
/// much comes at a time (in the unit given), and every how many days.
pub struct Ingredient {
    pub code: &'static str,
    pub name: &'static str,
    pub supplier: &'static str,
    pub counted: Counted,
    pub kept: &'static str,
    pub good_for_days: u64,
    pub comes: (&'static str, &'static str),
    pub every_days: u64,
}

/// How an ingredient is counted besides by mass.
pub enum Counted {
    Mass,
    /// Kilograms per cubic metre.
    Volume(&'static str),
    /// Grams a piece.
    Piece(u32),
    /// Per cent by volume.
    Strength(&'static str),
}

const fn dry(code: &'static str, name: &'static str, amount: &'static str, every_days: u64) -> Ingredient {
    Ingredient {
        code,
        name,
        supplier: "ninefold-dry",
        counted: Counted::Mass,
        kept: "ambient",
        good_for_days: 240,
        comes: (amount, "kg"),
        every_days,
    }
}

const fn nuts(code: &'static str, name: &'static str, amount: &'static str) -> Ingredient {
    Ingredient {
        code,
        name,
        supplier: "kestrel-nuts",
        counted: Counted::Mass,
        kept: "ambient",
        good_for_days: 180,
        comes: (amount, "kg"),
        every_days: 10,
    }
}

const fn fruit(code: &'static str, name: &'static str, amount: &'static str) -> Ingredient {
    Ingredient {
        code,
        name,
        supplier: "gorse-fruit",
        counted: Counted::Mass,
        kept: "frozen",
        good_for_days: 200,
        comes: (amount, "kg"),
        every_days: 6,
    }
}

/// What comes in at the door. Milk's and cream's densities: D. Goff, University of Guelph, homogenised milk and heavy cream at
/// 4.4 °C.
pub const INGREDIENTS: &[Ingredient] = &[
    Ingredient {
        code: "whole-milk",
        name: "Whole milk",
        supplier: "brackwater-dairy",
        counted: Counted::Volume("1033"),
        kept: "milk_or_shell_eggs",
        good_for_days: 9,
        comes: ("56", "l"),
        every_days: 2,
    },
    Ingredient {
        code: "cream",
        name: "Cream",
        supplier: "brackwater-dairy",
        counted: Counted::Volume("1008"),
        kept: "chilled",
        good_for_days: 12,
        comes: ("12", "l"),
        every_days: 2,
    },
    Ingredient {
        code: "eggs",
        name: "Eggs, class M",
        supplier: "gullwing-eggs",
        counted: Counted::Piece(58),
        kept: "milk_or_shell_eggs",
        good_for_days: 21,
        comes: ("12", "dozen"),
        every_days: 5,
    },
    Ingredient {
        code: "rum",
        name: "Rum, 40 % vol",
        supplier: "ferry-still",
        counted: Counted::Strength("40"),
        kept: "ambient",
        good_for_days: 3000,
        comes: ("3", "l"),
        every_days: 15,
    },
    dry("milk-powder", "Skimmed milk powder", "8", 6),
    dry("sugar", "Sugar", "40", 4),
    dry("dextrose", "Dextrose", "12", 6),
    dry("carob-gum", "Carob gum", "2", 15),
    dry("cocoa", "Cocoa powder", "7", 7),
    dry("dark-couverture", "Dark couverture", "6", 7),
    dry("ground-coffee", "Ground coffee", "2", 10),
    dry("raisins", "Raisins", "2", 10),
    dry("sea-salt", "Sea salt", "2", 20),
    nuts("pistachio-paste", "Pistachio paste", "6"),
    nuts("hazelnut-paste", "Hazelnut paste", "6"),
    nuts("almond-paste", "Almond paste", "4"),
    nuts("hazelnuts", "Roasted hazelnuts", "5"),
    fruit("raspberry-puree", "Raspberry purée", "14"),
    fruit("lemon-juice", "Lemon juice", "6"),
    fruit("fig-puree", "Fig purée", "4"),
];

/// A recipe and the item it makes: code, name, kind, lines in grams, yield in grams, days it keeps.
pub struct Recipe {
    pub code: &'static str,
    pub name: &'static str,
    pub kind: &'static str,
    pub lines: &'static [(&'static str, u32)],
    pub expected_yield: u32,
    pub keeps_days: i32,
}

const fn base(
    code: &'static str,
    name: &'static str,
    lines: &'static [(&'static str, u32)],
    expected_yield: u32,
) -> Recipe {
    Recipe { code, name, kind: "base", lines, expected_yield, keeps_days: 3 }
}

const fn flavour(code: &'static str, name: &'static str, lines: &'static [(&'static str, u32)]) -> Recipe {
    Recipe { code, name, kind: "flavour", lines, expected_yield: 9000, keeps_days: 60 }
}

/// Four bases, two prepared components, twelve flavours.
pub const RECIPES: &[Recipe] = &[
    base(
        "white-base",
        "White base",
        &[
            ("whole-milk", 25_800),
            ("cream", 6_400),
            ("sugar", 6_000),
            ("dextrose", 1_200),
            ("milk-powder", 1_800),
            ("carob-gum", 120),
        ],
        40_500,
    ),
    base(
        "yellow-base",
        "Yellow base",
        &[("whole-milk", 14_000), ("cream", 3_000), ("eggs", 2_900), ("sugar", 4_000), ("milk-powder", 700)],
        24_000,
    ),
    base(
        "cocoa-base",
        "Cocoa base",
        &[
            ("whole-milk", 14_500),
            ("cream", 1_500),
            ("sugar", 4_200),
            ("dextrose", 900),
            ("cocoa", 1_700),
            ("dark-couverture", 1_500),
            ("carob-gum", 70),
        ],
        23_700,
    ),
    base(
        "sorbet-base",
        "Sorbet base",
        &[("water", 12_000), ("sugar", 4_800), ("dextrose", 2_000), ("carob-gum", 100)],
        18_700,
    ),
    Recipe {
        code: "hazelnut-praline",
        name: "Hazelnut praline",
        kind: "component",
        lines: &[("hazelnuts", 3_000), ("sugar", 2_200), ("sea-salt", 20)],
        expected_yield: 5_000,
        keeps_days: 40,
    },
    Recipe {
        code: "raspberry-ripple",
        name: "Raspberry ripple",
        kind: "component",
        lines: &[("raspberry-puree", 4_000), ("sugar", 2_400)],
        expected_yield: 5_800,
        keeps_days: 30,
    },
    flavour("sea-salt-milk", "Sea salt milk", &[("white-base", 9_300), ("sea-salt", 40)]),
    flavour("pistachio", "Pistachio", &[("white-base", 8_500), ("pistachio-paste", 900)]),
    flavour("hazelnut", "Hazelnut", &[("white-base", 8_400), ("hazelnut-paste", 950)]),
    flavour("almond-fig", "Almond and fig", &[("white-base", 7_600), ("almond-paste", 600), ("fig-puree", 1_100)]),
    flavour("raspberry-wave", "Raspberry wave", &[("white-base", 8_300), ("raspberry-ripple", 1_100)]),
    flavour("lighthouse", "Lighthouse (rum and raisins)", &[("yellow-base", 8_600), ("rum", 320), ("raisins", 480)]),
    flavour("custard", "Quayside custard", &[("yellow-base", 9_350)]),
    flavour("coffee", "Night boat coffee", &[("yellow-base", 9_000), ("ground-coffee", 380)]),
    flavour("dark-harbour", "Dark harbour", &[("cocoa-base", 9_350)]),
    flavour("praline-night", "Praline night", &[("cocoa-base", 8_400), ("hazelnut-praline", 1_000)]),
    flavour("raspberry-sorbet", "Raspberry sorbet", &[("sorbet-base", 5_200), ("raspberry-puree", 4_150)]),
    flavour("lemon-sorbet", "Lemon sorbet", &[("sorbet-base", 7_000), ("lemon-juice", 2_350)]),
];

/// Code, name, the kinds of item it touches.
pub const EQUIPMENT: &[(&str, &str, &[&str])] = &[
    ("heater-1", "Mix heater", &["ingredient", "base"]),
    ("tank-1", "Maturing tank 1", &["base"]),
    ("tank-2", "Maturing tank 2", &["base"]),
    ("churn-1", "Churn 1", &["base", "component", "flavour"]),
    ("churn-2", "Churn 2", &["base", "component", "flavour"]),
    ("kettle-1", "Component kettle", &["ingredient", "component"]),
];

/// What the suppliers state of what they bring, by the lists of the European Union, the United States and Canada: item, what
/// it contains, what it may contain. Nobody has asked about the coffee yet, so what is in it is unknown.
pub const STATEMENTS: &[(&str, &[&str], &[&str])] = &[
    ("whole-milk", &["milk"], &[]),
    ("cream", &["milk"], &[]),
    ("milk-powder", &["milk"], &["soy"]),
    ("eggs", &["egg"], &[]),
    ("rum", &[], &[]),
    ("sugar", &[], &[]),
    ("dextrose", &[], &[]),
    ("carob-gum", &[], &[]),
    ("cocoa", &[], &["milk"]),
    ("dark-couverture", &["soy"], &["milk", "tree_nuts"]),
    ("raisins", &["sulphites"], &[]),
    ("sea-salt", &[], &[]),
    ("pistachio-paste", &["pistachio"], &["almond"]),
    ("hazelnut-paste", &["hazelnut"], &["almond"]),
    ("almond-paste", &["almond"], &[]),
    ("hazelnuts", &["hazelnut"], &[]),
    ("raspberry-puree", &[], &[]),
    ("lemon-juice", &["sulphites"], &[]),
    ("fig-puree", &[], &[]),
];

/// Ways of cleaning: code, name, what each clears.
pub const CLEAN_KINDS: &[(&str, &str, &[&str])] =
    &[("rinse", "Rinse with hot water", &[]), ("full-wash", "Taken apart and washed", &["everything"])];

/// How the shops serve: whether one scoop serves all that is open.
pub const SERVING: &[(&str, bool)] = &[("harbour", true), ("mill-lane", false), ("pier", false)];

/// What the kitchen reckons stays behind of a batch on a machine that was not washed, in grams. Invented.
pub const CARRY_OVER_GRAMS: i64 = 30;
