//! Pictures of traces made up here, small enough for paper, and large ones by their rules.

use std::collections::{BTreeMap, BTreeSet};

use super::*;

/// Most boxes of a trace in which nothing is opened: what a person looks through, and a printed page has room for.
const MOST_TO_LOOK_THROUGH: usize = 60;

fn lot(number: &str, item: &str, kind: &str, site: &str, made_by: Option<i64>, used_in: &[(i64, i64)]) -> PictureLot {
    PictureLot {
        number: number.into(),
        item: item.into(),
        kind: kind.into(),
        site: site.into(),
        mass_mg: 2_000_000,
        share_ug: 250_000_001,
        made_by,
        used_in: used_in.to_vec(),
        is_seed: made_by.is_none(),
        is_held: false,
        is_recalled: false,
        by_contact: false,
    }
}

/// Paste, into 20 batches of 10 flavours, 50 tubs each, that went to four shops; every batch took one of five bases, and
/// every fourth what was left of the batch before.
fn a_thousand_tubs() -> Vec<PictureLot> {
    let milk = (0..5).map(|base| (1000 + base, 8_000_000)).collect::<Vec<_>>();
    let mut lots = vec![lot("paste", "paste", "received", "kitchen", None, &[(1000, 400_000), (3, 20_000)])];
    lots.push(lot("milk", "milk", "received", "kitchen", None, &milk));
    for base in 0..5_i64 {
        let into: Vec<_> = (0..20).filter(|batch| batch % 5 == base).map(|batch| (batch, 4_000_000)).collect();
        lots.push(lot(&format!("base-{base}"), "white-base", "base", "kitchen", Some(1000 + base), &into));
    }
    for batch in 0..20_i64 {
        let item = format!("flavour-{}", batch % 10);
        for tub in 0..50_i64 {
            let shop = format!("shop-{}", (batch + tub) % 4);
            lots.push(lot(&format!("tub-{batch}-{tub}"), &item, "tub", &shop, Some(batch), &[]));
        }
        if batch % 4 == 0 {
            let next = [(batch + 1, 150_000)];
            lots.push(lot(&format!("rest-{batch}"), &item, "remainder", "kitchen", Some(batch), &next));
        }
    }
    lots
}

fn nothing() -> BTreeSet<String> {
    BTreeSet::new()
}

#[track_caller]
fn assert_well_laid_out(lots: &[PictureLot], picture: &Picture) {
    let mut seen = vec![0; lots.len()];
    for placed in &picture.boxes {
        for at in &placed.group.lots {
            seen[*at] += 1;
        }
    }
    assert!(seen.iter().all(|count| *count == 1), "every lot is in exactly one box: {seen:?}");
    let whole: i64 = lots.iter().map(|lot| lot.share_ug).sum();
    let boxes: i64 = picture.boxes.iter().map(|placed| placed.group.share_ug(lots)).sum();
    assert_eq!(boxes, whole, "the boxes' grams are the trace's");
    for (at, one) in picture.boxes.iter().enumerate() {
        assert!(one.left >= 0 && one.left + BOX_WIDTH <= picture.width, "{}", one.group.key);
        let lane = &picture.lanes[one.group.lane];
        assert!(lane.top <= one.top && one.top + BOX_HEIGHT <= lane.top + lane.height, "{}", one.group.key);
        for other in &picture.boxes[at + 1..] {
            let apart = (one.left - other.left).abs() >= BOX_WIDTH || (one.top - other.top).abs() >= BOX_HEIGHT;
            assert!(apart, "{} lies on {}", one.group.key, other.group.key);
        }
    }
    for line in &picture.lines {
        let (from, to) = (&picture.boxes[line.from].group, &picture.boxes[line.to].group);
        let goes_on = from.column < to.column || from.column == MOST_COLUMNS - 1;
        assert!(goes_on || line.by_contact, "{} to {}", from.key, to.key);
        assert!(!line.by_contact || to.by_contact, "{} to {}", from.key, to.key);
    }
    let keys: BTreeSet<&String> = picture.boxes.iter().map(|placed| &placed.group.key).collect();
    assert_eq!(keys.len(), picture.boxes.len(), "each box has a key of its own");
}

/// Milk into a base, base and paste into two tubs at two shops: five lots, each alone, in three columns.
#[test]
fn a_small_trace_shows_every_lot_alone() {
    let lots = [
        lot("milk", "milk", "received", "kitchen", None, &[(1, 8_000_000)]),
        lot("paste", "paste", "received", "kitchen", None, &[(2, 500_000)]),
        lot("base", "white-base", "base", "kitchen", Some(1), &[(2, 4_000_000)]),
        lot("one", "pistachio", "tub", "harbour", Some(2), &[]),
        lot("two", "pistachio", "tub", "market", Some(2), &[]),
    ];
    let picture = lay_out(&lots, &[], &nothing());
    assert_well_laid_out(&lots, &picture);
    let columns: BTreeMap<&str, usize> =
        picture.boxes.iter().map(|placed| (placed.group.key.as_str(), placed.group.column)).collect();
    assert_eq!(columns, BTreeMap::from([("milk", 0), ("paste", 0), ("base", 1), ("one", 2), ("two", 2)]));
    let lanes: Vec<&str> = picture.lanes.iter().map(|placed| placed.lane.sites[0].as_str()).collect();
    assert_eq!(lanes, ["kitchen", "harbour", "market"], "what comes first stands above");
    // 8000 g of milk all into the base; 4000 g of base into two tubs of 2 kg: 2000 g to each; paste 250 g to each.
    let grams: BTreeMap<(&str, &str), i64> = picture
        .lines
        .iter()
        .map(|line| {
            let key = |at: usize| picture.boxes[at].group.key.as_str();
            ((key(line.from), key(line.to)), line.mass_mg / 1000)
        })
        .collect();
    let expected = [
        (("milk", "base"), 8000),
        (("base", "one"), 2000),
        (("base", "two"), 2000),
        (("paste", "one"), 250),
        (("paste", "two"), 250),
    ];
    assert_eq!(grams, BTreeMap::from(expected));
}

#[test]
fn a_thousand_tubs_are_a_few_boxes() {
    let lots = a_thousand_tubs();
    let picture = lay_out(&lots, &[], &nothing());
    assert_well_laid_out(&lots, &picture);
    assert!(picture.boxes.len() <= MOST_TO_LOOK_THROUGH, "{} boxes", picture.boxes.len());
    assert!(
        picture.width < 3 * picture.height && picture.height < 2 * picture.width,
        "it is neither a band nor a tower"
    );
}

#[test]
fn a_group_opens_into_its_items_and_lots() {
    let lots = a_thousand_tubs();
    let closed = lay_out(&lots, &[], &nothing());
    let group = closed.boxes.iter().map(|placed| &placed.group).find(|group| group.sort == GroupSort::Kind);
    let mut open = BTreeSet::from([group.expect("tubs of a shop are in one box").key.clone()]);
    let opened = lay_out(&lots, &[], &open);
    assert_well_laid_out(&lots, &opened);
    assert!(opened.boxes.len() > closed.boxes.len());
    let key = open.first().cloned().expect("it is there");
    let inside = |placed: &&PlacedBox| placed.group.key.starts_with(&format!("{key}~"));
    let item = opened.boxes.iter().find(inside).expect("it opened").group.clone();
    assert_eq!(item.sort, GroupSort::Item);
    open.insert(item.key.clone());
    let lots_shown = lay_out(&lots, &[], &open);
    assert_well_laid_out(&lots, &lots_shown);
    let alone = lots_shown.boxes.iter().filter(|placed| item.lots.contains(&placed.group.lots[0])).count();
    assert!(alone > 1, "{alone}");
}

/// What opened by itself, where there was room, can be opened further, and nothing else folds up.
#[test]
fn what_opened_by_itself_opens_further() {
    let mut lots = vec![lot("paste", "paste", "received", "kitchen", None, &[(1, 500_000), (2, 500_000)])];
    for (item, batch) in [("pistachio", 1), ("hazelnut", 2)] {
        lots.extend((0..30).map(|tub| lot(&format!("{item}-{tub}"), item, "tub", "harbour", Some(batch), &[])));
    }
    let closed = lay_out(&lots, &[], &nothing());
    assert_eq!(closed.boxes.len(), 3, "a box for each flavour");
    let opened = lay_out(&lots, &[], &BTreeSet::from(["1~harbour~tub~hazelnut".to_owned()]));
    assert_well_laid_out(&lots, &opened);
    assert_eq!(opened.boxes.len(), 2 + 24, "paste, pistachio, and the hazelnut lot by lot");
}

/// 300 lots of one item: 23 alone, and 277 in the last box.
#[test]
fn a_large_group_opens_as_far_as_there_is_room() {
    let mut lots = vec![lot("paste", "paste", "received", "kitchen", None, &[(1, 500_000)])];
    lots.extend((0..300).map(|tub| lot(&format!("tub-{tub}"), "pistachio", "tub", "harbour", Some(1), &[])));
    let closed = lay_out(&lots, &[], &nothing());
    assert_eq!(closed.boxes.len(), 2);
    let open = BTreeSet::from([closed.boxes[1].group.key.clone()]);
    let opened = lay_out(&lots, &[], &open);
    assert_well_laid_out(&lots, &opened);
    assert_eq!(opened.boxes.len(), 1 + 24);
    let rest = opened.boxes.iter().find(|placed| placed.group.sort == GroupSort::Rest).expect("there are more");
    assert_eq!(rest.group.lots.len(), 277);
}

/// What is left of every batch goes into the next, for two hundred batches.
#[test]
fn a_long_chain_ends_in_the_last_column() {
    let mut lots = vec![lot("sugar", "sugar", "received", "kitchen", None, &[(0, 100_000)])];
    for batch in 0..200 {
        lots.push(lot(
            &format!("rest-{batch}"),
            "white-base",
            "remainder",
            "kitchen",
            Some(batch),
            &[(batch + 1, 50_000)],
        ));
        lots.push(lot(&format!("tub-{batch}"), "fior", "tub", "harbour", Some(batch), &[]));
    }
    let picture = lay_out(&lots, &[], &nothing());
    assert_well_laid_out(&lots, &picture);
    assert!(picture.columns.len() <= MOST_COLUMNS && picture.boxes.len() <= MOST_TO_LOOK_THROUGH);
}

/// Two bases and two flavours, the first base in the second flavour: in the order of their names the lines would cross.
#[test]
fn lines_cross_as_little_as_they_must() {
    let lots = [
        lot("1", "almond-base", "base", "kitchen", None, &[(11, 1_000_000)]),
        lot("2", "white-base", "base", "kitchen", None, &[(10, 1_000_000)]),
        lot("3", "fior", "tub", "kitchen", Some(10), &[]),
        lot("4", "walnut", "tub", "kitchen", Some(11), &[]),
    ];
    let picture = lay_out(&lots, &[], &nothing());
    assert_well_laid_out(&lots, &picture);
    let top =
        |number: &str| picture.boxes.iter().find(|placed| placed.group.key == number).map_or(0, |placed| placed.top);
    assert_eq!(top("1") < top("2"), top("4") < top("3"), "what goes into it stands beside it");
}

/// Thirty shops: seven lanes of their own, and one for the others.
#[test]
fn many_sites_share_a_lane() {
    let mut lots = vec![lot("paste", "paste", "received", "kitchen", None, &[(1, 500_000)])];
    for shop in 0..30 {
        lots.push(lot(&format!("tub-{shop}"), "pistachio", "tub", &format!("shop-{shop:02}"), Some(1), &[]));
    }
    let picture = lay_out(&lots, &[], &nothing());
    assert_well_laid_out(&lots, &picture);
    assert_eq!(picture.lanes.len(), 8);
    assert_eq!(picture.lanes[7].lane.sites.len(), 24, "kitchen and six shops have their own");
}

/// Paste into a tub; then another tub, of good paste, on the same freezer, and a kept leftover of that, which went into a third.
/// The last two are reached by contact alone.
fn by_contact() -> (Vec<PictureLot>, Vec<(i64, i64)>) {
    let touched = |lot: PictureLot| PictureLot { share_ug: 0, by_contact: true, is_seed: false, ..lot };
    let lots = vec![
        lot("paste", "paste", "received", "kitchen", None, &[(1, 500_000)]),
        lot("one", "hazelnut", "tub", "harbour", Some(1), &[]),
        touched(lot("two", "walnut", "tub", "harbour", Some(2), &[])),
        touched(lot("rest", "walnut", "remainder", "kitchen", Some(2), &[(3, 100_000)])),
        touched(lot("three", "walnut", "tub", "harbour", Some(3), &[])),
    ];
    (lots, vec![(1, 2)])
}

#[test]
fn what_is_reached_by_contact_alone_is_drawn_apart() {
    let (lots, contacts) = by_contact();
    let picture = lay_out(&lots, &contacts, &nothing());
    assert_well_laid_out(&lots, &picture);
    let column =
        |number: &str| picture.boxes.iter().find(|placed| placed.group.key == number).expect(number).group.column;
    assert_eq!((column("one"), column("two"), column("three")), (1, 1, 2), "a tub stands among tubs");
    let key = |at: usize| picture.boxes[at].group.key.as_str();
    let mut lines: Vec<_> = picture.lines.iter().map(|line| (key(line.from), key(line.to), line.by_contact)).collect();
    lines.sort_unstable();
    let expected = [("one", "rest", true), ("one", "two", true), ("paste", "one", false), ("rest", "three", false)];
    assert_eq!(lines, expected);
}

/// A thousand tubs by use and two thousand by contact: none shares a box with one of the others.
#[test]
fn many_reached_by_contact_are_grouped_like_the_others() {
    let mut lots = a_thousand_tubs();
    let mut contacts = Vec::new();
    for batch in 0..40_i64 {
        contacts.push((batch % 20, 100 + batch));
        for tub in 0..50_i64 {
            let (number, item) = (format!("after-{batch}-{tub}"), format!("flavour-{}", batch % 10));
            let shop = format!("shop-{}", (batch + tub) % 4);
            let after = lot(&number, &item, "tub", &shop, Some(100 + batch), &[]);
            lots.push(PictureLot { share_ug: 0, by_contact: true, ..after });
        }
    }
    let picture = lay_out(&lots, &contacts, &nothing());
    assert_well_laid_out(&lots, &picture);
    assert!(picture.boxes.len() <= MOST_TO_LOOK_THROUGH, "{} boxes", picture.boxes.len());
    for placed in &picture.boxes {
        assert!(placed.group.lots.iter().all(|at| lots[*at].by_contact == placed.group.by_contact));
    }
    assert!(picture.lines.iter().any(|line| line.by_contact));
}

/// The names of lanes: one of 40 letters is whole, in as many lines as it takes; of a longer one the rest is in the title.
#[test]
fn a_usual_name_of_a_site_is_whole() {
    let (lots, contacts) = by_contact();
    let picture = lay_out(&lots, &contacts, &nothing());
    let names = ["Kitchen on the old harbour quay, Northqu", "The shop by the lighthouse at the very end of the pier"];
    assert_eq!(names[0].chars().count(), 40);
    let words = PictureWords { lanes: names.map(str::to_owned).into(), ..PictureWords::default() };
    let svg = write(&picture, &words);
    let page = scraper::Html::parse_fragment(&svg);
    let css = |css: &str| scraper::Selector::parse(css).expect("a selector");
    let lanes: Vec<String> = page
        .select(&css(".lane text"))
        .map(|lane| {
            lane.select(&css("tspan")).map(|line| line.text().collect::<String>()).collect::<Vec<_>>().join(" ")
        })
        .collect();
    assert_eq!(lanes[0], names[0]);
    assert!(lanes[1].ends_with('…') && lanes[1].starts_with("The shop by the lighthouse"), "{}", lanes[1]);
    let titles: Vec<String> = page.select(&css(".lane title")).map(|title| title.text().collect()).collect();
    assert_eq!(titles, [names[1]]);
    assert!(svg.contains("stroke-dasharray=\"7 5\""), "what is reached by contact is dashed");
}

#[test]
fn an_svg_says_what_is_in_it() {
    let lots = a_thousand_tubs();
    let picture = lay_out(&lots, &[], &nothing());
    let words = PictureWords {
        language: "en".into(),
        title: "Where <paste> went".into(),
        description: "1012 lots".into(),
        columns: picture.columns.iter().map(|column| column.kinds.join(", ")).collect(),
        lanes: picture.lanes.iter().map(|placed| placed.lane.sites.join(", ")).collect(),
        boxes: picture
            .boxes
            .iter()
            .map(|placed| BoxWords { name: placed.group.key.clone(), classes: vec!["recalled"], ..BoxWords::default() })
            .collect(),
    };
    let svg = write(&picture, &words);
    let page = scraper::Html::parse_fragment(&svg);
    let count = |css: &str| page.select(&scraper::Selector::parse(css).expect("a selector")).count();
    assert_eq!(count("svg[role=img] > title"), 1);
    assert_eq!(count("svg > desc"), 1);
    assert_eq!(count("g.box.recalled"), picture.boxes.len());
    assert_eq!(count("path.line"), picture.lines.len());
    assert!(svg.contains("Where &lt;paste&gt; went"));
    assert!(!svg.contains("style="), "a page that allows no inline style can show it");
}
