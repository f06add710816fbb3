//! Looking through a large case, and following it.

use tubtrail_operations::Request;
use tubtrail_operations::discards::Discard;
use tubtrail_operations::recalls::{LineOutcome, LineStand, LinesWanted, RecallSeen};
use tubtrail_tests::house::{KITCHEN, SHOP, grams};
use tubtrail_tests::{Backend, on_both};

use crate::recalled::{assert_sums_are_of_the_lines, begin, case, confirm, confirmation, look_through, lots};
use crate::shelf::{bring, done, house, problem, refused, tub, tubs};

on_both!(a_case_is_looked_through_by_site_and_by_what_is_left_to_do);

/// Four tubs of 5 kg: two at the shop, two in the kitchen. One is found, one is not; then one of the kitchen's is thrown away.
/// Whoever follows the recall hears of that, and of nothing that does not concern it.
fn a_case_is_looked_through_by_site_and_by_what_is_left_to_do(backend: Backend) {
    let house = house(backend);
    let made = tubs(&house, &[5000, 5000, 5000, 5000]);
    bring(&house, SHOP, &[&made[0], &made[1]]);
    let system = Request::system();
    let all: Vec<&str> = made.iter().map(String::as_str).collect();
    let id = begin(&house, vec![lots(&all)]).recall.recall;
    assert_sums_are_of_the_lines(&house, id);
    let open = |site: &str| LinesWanted { site: Some(site.into()), stand: Some(LineStand::Open), ..wanted() };
    let shown = |wanted: &LinesWanted| {
        let page = look_through(&house, id, wanted);
        (page.found, page.first, page.lines.into_iter().map(|line| line.lot).collect::<Vec<_>>(), page.next)
    };
    let (first, second) = (made[0].clone(), made[1].clone());
    let one = LinesWanted { limit: 1, ..open(SHOP) };
    assert_eq!(shown(&one), (2, 1, vec![first.clone()], Some(second.clone())));
    let next = LinesWanted { from: Some(second.clone()), ..one.clone() };
    assert_eq!(shown(&next), (2, 2, vec![second.clone()], None));
    assert_eq!(look_through(&house, id, &next).earlier, Some(first.clone()));

    let position = case(&house, id).sums.journal_position;
    let (seen, is_news) = house.tubtrail.follow_recall(&system, id, RecallSeen::until(position)).expect("followed");
    assert!(!is_news, "nothing was written down");
    let other = tub(&house, 3000);
    let (seen, is_news) = house.tubtrail.follow_recall(&system, id, seen).expect("followed");
    assert!(!is_news, "{other} is another lot");
    assert!(case(&house, id).sums.journal_position > position, "it is as of now all the same");
    done(confirm(&house, id, confirmation(SHOP, &first, LineOutcome::Found)));
    let (seen, is_news) = house.tubtrail.follow_recall(&system, id, seen).expect("followed");
    assert!(is_news, "it was confirmed");
    // What was first on the page is confirmed: the page goes on with what is left, and one that is empty by now is the last.
    assert_eq!(shown(&one), (1, 1, vec![second.clone()], None));
    done(confirm(&house, id, confirmation(SHOP, &second, LineOutcome::NotFound)));
    assert_eq!(shown(&next), (0, 0, vec![], None));
    let shop = look_through(&house, id, &LinesWanted { site: Some(SHOP.into()), ..wanted() });
    assert_eq!((shop.open_lines, shop.confirmed_lines, shop.not_found_lines, shop.gone_lines), (0, 1, 1, 0));
    let by_number = LinesWanted { lot: Some(made[2].to_lowercase()), ..wanted() };
    assert_eq!(shown(&by_number), (1, 1, vec![made[2].clone()], None));
    let all_of_it = Discard {
        site: Some(KITCHEN.into()),
        state: None,
        quantity: Some(grams(5000)),
        reason: Some("spilt".into()),
        discarded_at: None,
    };
    done(house.tubtrail.discard_lot(&system, &made[3], all_of_it));
    let (_, is_news) = house.tubtrail.follow_recall(&system, id, seen).expect("followed");
    assert!(is_news, "one of its tubs was thrown away");
    let kitchen = look_through(&house, id, &LinesWanted { site: Some(KITCHEN.into()), ..wanted() });
    // Of the two that stayed in the kitchen one is there.
    assert_eq!((kitchen.open_lines, kitchen.gone_lines), (1, 1));
    assert_sums_are_of_the_lines(&house, id);
    let nowhere = LinesWanted { site: Some("nowhere".into()), ..wanted() };
    assert_eq!(refused(house.tubtrail.find_recall_lines(&system, id, &nowhere)), problem("unknown-code", "site"));
}

fn wanted() -> LinesWanted {
    LinesWanted { limit: 100, ..LinesWanted::default() }
}
