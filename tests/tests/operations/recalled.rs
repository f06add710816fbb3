//! What the tests of recalls share: a recall in one line, and what it says.

use std::collections::BTreeMap;

use tubtrail_operations::recalls::{
    Begun, Closing, LineOutcome, LineStand, LinesFound, LinesWanted, NewConfirmation, NewConfirmations, NewRecall,
    RecallCase, RecallKind, RecallLine, SeedAsked,
};
use tubtrail_operations::tubs::Serving;
use tubtrail_operations::{Grams, OperationError, Request};
use tubtrail_tests::TestHouse;

use crate::shelf::{Operated, done};

/// A recall for listeria, meant, not yet begun.
pub fn recall(seeds: Vec<SeedAsked>) -> NewRecall {
    NewRecall {
        kind: RecallKind::Real,
        class: 1,
        hazard: "listeria".into(),
        seeds,
        with_contact: false,
        holds: None,
        noticed_at: None,
        due_at: None,
        instructions: None,
    }
}

/// Begins it.
#[track_caller]
pub fn begin(house: &TestHouse, seeds: Vec<SeedAsked>) -> Begun {
    done(house.tubtrail.begin_recall(&Request::system(), recall(seeds)))
}

/// These lots.
pub fn lots(lots: &[&str]) -> SeedAsked {
    SeedAsked::Lots { lots: lots.iter().map(|lot| (*lot).to_owned()).collect() }
}

/// What the nut mill brought under these codes.
pub fn codes(codes: &[&str]) -> SeedAsked {
    let codes = codes.iter().map(|code| (*code).to_owned()).collect();
    SeedAsked::SupplierLots { supplier: "nut-mill".into(), item: None, codes }
}

/// The case.
#[track_caller]
pub fn case(house: &TestHouse, recall: i64) -> RecallCase {
    house.tubtrail.get_recall(&Request::system(), recall).unwrap_or_else(|error| panic!("{error}"))
}

/// All its lines.
#[track_caller]
pub fn lines(house: &TestHouse, recall: i64) -> Vec<RecallLine> {
    let page = house.tubtrail.list_recall_lines(&Request::system(), recall, "", 500);
    let page = page.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(page.next, None, "a test has fewer lots than a page");
    page.lines
}

/// The lots it reaches, in order.
#[track_caller]
pub fn reached(house: &TestHouse, recall: i64) -> Vec<String> {
    let mut lots: Vec<String> = lines(house, recall).into_iter().map(|line| line.lot).collect();
    lots.dedup();
    lots
}

/// What of the seeds is in each place of a lot, in milligrams, by site and state.
#[track_caller]
pub fn seed_mg(house: &TestHouse, recall: i64, lot: &str) -> BTreeMap<(String, String), i64> {
    let of_lot = lines(house, recall).into_iter().filter(|line| line.lot == lot);
    let places = of_lot.flat_map(|line| line.places.into_iter().map(move |place| (line.site.clone(), place)));
    places.filter_map(|(site, place)| Some(((site, place.state), place.seed_grams?.mg()))).collect()
}

/// Everything the case accounts for, in milligrams, and what was received.
pub fn sums(case: &RecallCase) -> (i64, i64) {
    let mass = &case.sums.mass;
    let parts = [
        mass.available_grams,
        mass.open_grams,
        mass.in_transit_grams,
        mass.served_grams,
        mass.consigned_grams,
        mass.discarded_grams,
        mass.returned_grams,
        mass.count_difference_grams,
        mass.in_open_batches_grams,
        mass.lost_grams,
        mass.in_seeds_grams,
        mass.unaccounted_grams,
    ];
    let received = mass.received_grams.mg() + mass.found_grams.mg();
    (parts.iter().map(|part| part.mg()).sum(), received)
}

/// Asserts that the case accounts for all that was received, to the milligram.
#[track_caller]
pub fn assert_adds_up(case: &RecallCase) {
    let (found, received) = sums(case);
    assert_eq!(found, received, "{:?}", case.sums.mass);
    assert_eq!(case.sums.mass.unaccounted_grams, Grams::from_mg(0), "{:?}", case.sums.mass);
}

/// Asserts that the case says of each site what its lines come to, and that its lines can be looked through, three at a time,
/// forward and back.
#[track_caller]
pub fn assert_sums_are_of_the_lines(house: &TestHouse, recall: i64) {
    let (case, lines) = (case(house, recall), lines(house, recall));
    for site in &case.sums.sites {
        let here: Vec<&RecallLine> = lines.iter().filter(|line| line.site == site.site).collect();
        let on_hand = |line: &RecallLine| mg_of(line, &["available", "open", "in_transit"]);
        let sum = |lines: &mut dyn Iterator<Item = &&RecallLine>| lines.map(|line| on_hand(line)).sum::<i64>();
        let counted = (here.len(), here.iter().filter(|line| on_hand(line) > 0).count());
        assert_eq!((site.lots, site.lots_on_hand), counted, "{}", site.site);
        assert_eq!(site.on_hand_grams.mg(), sum(&mut here.iter()), "{}", site.site);
        assert_eq!(site.open_grams.mg(), sum(&mut here.iter().filter(|line| line.open)), "{}", site.site);
        assert_eq!(site.served_grams.mg(), here.iter().map(|line| mg_of(line, &["served"])).sum::<i64>());
        let said = |is: fn(LineOutcome) -> bool| {
            let said = here.iter().filter(|line| !line.open);
            said.filter(|line| line.confirmation.as_ref().is_some_and(|one| is(one.outcome))).count()
        };
        let stands = (here.iter().filter(|line| line.open).count(), said(|one| one != LineOutcome::NotFound));
        assert_eq!((site.open_lines, site.confirmed_lines), stands, "{}", site.site);
        assert_eq!(site.not_found_lines, said(|one| one == LineOutcome::NotFound), "{}", site.site);
    }
    assert_eq!(case.sums.sites.iter().map(|site| site.lots).sum::<usize>(), lines.len());
    let mut wanted = LinesWanted { limit: 3, ..LinesWanted::default() };
    let mut looked_through = Vec::new();
    loop {
        let page = look_through(house, recall, &wanted);
        assert_eq!((page.found, page.first), (lines.len(), looked_through.len() + 1));
        looked_through.extend(page.lines);
        wanted.from = page.next;
        if wanted.from.is_none() {
            break;
        }
    }
    assert_eq!(looked_through, lines);
    for stand in LineStand::ALL {
        let page =
            look_through(house, recall, &LinesWanted { stand: Some(stand), limit: 500, ..LinesWanted::default() });
        let counts = [page.open_lines, page.not_found_lines, page.confirmed_lines, page.gone_lines];
        assert_eq!(counts.iter().sum::<usize>(), lines.len());
        assert_eq!(page.lines.len(), page.found);
        assert!(page.lines.iter().all(|line| line.open == (stand == LineStand::Open)), "{stand:?}");
    }
}

fn mg_of(line: &RecallLine, states: &[&str]) -> i64 {
    line.places.iter().filter(|place| states.contains(&place.state.as_str())).map(|place| place.grams.mg()).sum()
}

/// Some of its lines.
#[track_caller]
pub fn look_through(house: &TestHouse, recall: i64, wanted: &LinesWanted) -> LinesFound {
    let found = house.tubtrail.find_recall_lines(&Request::system(), recall, wanted);
    found.unwrap_or_else(|error| panic!("{error}"))
}

/// Serves so many grams.
pub fn serve(house: &TestHouse, lot: &str, grams: i64) -> Operated<tubtrail_operations::tubs::Moved> {
    let serving = Serving { grams: Some(Grams::from_mg(grams * 1000)), ..Serving::default() };
    house.tubtrail.serve_tub(&Request::system(), lot, serving)
}

/// A site says what became of a lot.
pub fn confirmation(site: &str, lot: &str, outcome: LineOutcome) -> NewConfirmations {
    let note = (outcome == LineOutcome::Explained).then(|| "eaten by the staff".to_owned());
    let line = NewConfirmation { lot: lot.into(), outcome, grams: None, note };
    NewConfirmations { site: site.into(), name: "Nora Shop".into(), at: None, lines: vec![line] }
}

/// Writes it down.
pub fn confirm(
    house: &TestHouse,
    recall: i64,
    new: NewConfirmations,
) -> Operated<tubtrail_operations::recalls::Confirmed> {
    house.tubtrail.confirm_recall_lines(&Request::system(), recall, new)
}

/// Why it may end.
pub fn closing() -> Closing {
    Closing { name: "Ines Owner".into(), reason: "all of it is accounted for".into() }
}

/// The word of a refusal.
#[track_caller]
pub fn word<T>(operated: Result<T, OperationError>) -> &'static str {
    match operated {
        Ok(_) => panic!("it was done"),
        Err(error) => error.problem.word,
    }
}
