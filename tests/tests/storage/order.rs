//! Lists come in the same order on both backends, whatever language the cluster sorts by.

use tubtrail_storage::master_data::{Noun, Site, SiteVersionRow};
use tubtrail_storage::people::{self, UserRow, UserVersionRow};
use tubtrail_tests::{Backend, TestDatabase, on_both};

use crate::house::{House, add, open_site};

on_both!(lists_are_in_the_order_of_bytes);

fn lists_are_in_the_order_of_bytes(backend: Backend) {
    // As ASCII has them; a dictionary may pass over the hyphens.
    let codes = ["b", "a1", "a-2", "10", "9", "1-a", "a", "ab", "a-z", "a2-1", "a21"];
    let mut sorted = codes;
    sorted.sort_unstable();
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    house
        .command(move |tx| {
            let entry = tx.entry();
            for code in codes {
                let site_id = open_site(tx, code)?;
                add(tx, |id| SiteVersionRow {
                    id,
                    entry,
                    site_id,
                    version: 1,
                    name: code.into(),
                    kind: "shop".into(),
                    time_zone: "Europe/Rome".into(),
                    gln: None,
                    active: true,
                    address: None,
                })?;
                let user_id = add(tx, |id| UserRow { id, entry, login: code.into() })?;
                add(tx, |id| UserVersionRow {
                    id,
                    entry,
                    user_id,
                    version: 1,
                    name: code.into(),
                    password_hash: String::new(),
                    active: true,
                })?;
            }
            Ok(())
        })
        .unwrap();
    let mut reader = house.database.reader().unwrap();
    let mut paged: Vec<String> = Vec::new();
    loop {
        let after = paged.last().cloned().unwrap_or_default();
        let page = Site::page(&mut reader, &after, 3).unwrap();
        if page.is_empty() {
            break;
        }
        paged.extend(page.into_iter().map(|site| site.row.code));
    }
    assert_eq!(paged, sorted);
    let logins: Vec<String> = people::all_users(&mut reader).unwrap().into_iter().map(|user| user.login).collect();
    assert_eq!(logins, sorted);
}
