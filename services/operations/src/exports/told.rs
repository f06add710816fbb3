//! Sites, partners and items as records tell of them, each looked up once.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::Arc;

use chrono::{NaiveDateTime, Offset as _, TimeZone as _};
use chrono_tz::Tz;
use tubtrail_storage::gtins::{ItemGtinRow, gtins_once_of};
use tubtrail_storage::lots::LotRow;
use tubtrail_storage::master_data::{Noun, Partner};
use tubtrail_storage::{AnyConnection, StorageError};

use super::{Goods, Party, PartyKind};
use crate::deliveries::expiry;
use crate::error::Result;
use crate::lots::number;
use crate::names::Names;
use crate::quantities::Grams;

/// What was looked up so far.
#[derive(Default)]
pub(super) struct Told {
    names: Names,
    sites: HashMap<i64, Arc<Party>>,
    partners: HashMap<i64, Arc<Party>>,
    items: HashMap<i64, Item>,
    gtins: HashMap<i64, Vec<ItemGtinRow>>,
}

/// Code and name.
#[derive(Clone)]
struct Item {
    code: Arc<str>,
    name: Arc<str>,
}

impl Told {
    /// A site of ours.
    pub fn site(&mut self, conn: &mut AnyConnection, id: i64) -> Result<Arc<Party>> {
        if let Some(known) = self.sites.get(&id) {
            return Ok(known.clone());
        }
        let site = self.names.site(conn, id)?;
        let party = Arc::new(Party {
            kind: PartyKind::Site,
            code: site.row.code.clone(),
            name: site.current.name.clone(),
            gln: site.current.gln.clone(),
            address: site.current.address.clone(),
        });
        self.sites.insert(id, party.clone());
        Ok(party)
    }

    fn item(&mut self, conn: &mut AnyConnection, id: i64) -> Result<Item> {
        if let Some(known) = self.items.get(&id) {
            return Ok(known.clone());
        }
        let found = self.names.item(conn, id)?;
        let item = Item { code: found.row.code.as_str().into(), name: found.current.name.as_str().into() };
        self.items.insert(id, item.clone());
        Ok(item)
    }

    /// How many minutes a site's clock was ahead of UTC at a moment.
    pub fn offset_minutes(&mut self, conn: &mut AnyConnection, site_id: i64, at: NaiveDateTime) -> Result<i32> {
        let zone = &self.names.site(conn, site_id)?.current.time_zone;
        let zone: Tz = zone.parse().map_err(|_| StorageError::Corrupt(format!("time zone {zone:?}")))?;
        Ok(zone.offset_from_utc_datetime(&at).fix().local_minus_utc() / 60)
    }

    /// A supplier or a customer.
    pub fn partner(&mut self, conn: &mut AnyConnection, id: i64) -> Result<Arc<Party>> {
        if let Some(known) = self.partners.get(&id) {
            return Ok(known.clone());
        }
        let missing = || StorageError::Corrupt(format!("partner row {id} is named and missing"));
        let Partner { row, current } = Partner::by_id(conn, id)?.ok_or_else(missing)?;
        let party = Arc::new(Party {
            kind: PartyKind::Partner,
            code: row.code,
            name: current.name,
            gln: current.gln,
            address: current.address,
        });
        self.partners.insert(id, party.clone());
        Ok(party)
    }

    /// So much of a lot.
    pub fn goods(&mut self, conn: &mut AnyConnection, lot: &LotRow, mass_mg: i64) -> Result<Goods> {
        let source = match lot.supplier_id {
            Some(supplier) => self.partner(conn, supplier)?,
            None => self.site(conn, lot.site_id)?,
        };
        let gtin = self.gtin(conn, lot)?;
        let Item { code, name } = self.item(conn, lot.item_id)?;
        Ok(Goods {
            lot: Some(number(lot)?.to_string()),
            item: code,
            name,
            gtin,
            supplier_lot_code: lot.supplier_lot_code.clone(),
            source: Some(source),
            since: Some(lot.day),
            expiry: expiry(lot.expires_on, lot.expiry_kind.as_deref()),
            grams: Grams::from_mg(mass_mg),
        })
    }

    /// So much of something that is kept without lots.
    pub fn loose(&mut self, conn: &mut AnyConnection, item_id: i64, mass_mg: i64) -> Result<Goods> {
        let Item { code, name } = self.item(conn, item_id)?;
        Ok(Goods {
            lot: None,
            item: code,
            name,
            gtin: None,
            supplier_lot_code: None,
            source: None,
            since: None,
            expiry: None,
            grams: Grams::from_mg(mass_mg),
        })
    }

    /// The number of the article that a lot was when it came to be: the only one known then, or the only one of packages of
    /// just that mass. Which of several it was nobody knows.
    fn gtin(&mut self, conn: &mut AnyConnection, lot: &LotRow) -> Result<Option<String>> {
        let said = match self.gtins.entry(lot.item_id) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(gap) => gap.insert(gtins_once_of(conn, lot.item_id)?),
        };
        Ok(gtin_of(lot, said).map(|row| row.gtin.clone()))
    }
}

fn gtin_of<'a>(lot: &LotRow, said: &'a [ItemGtinRow]) -> Option<&'a ItemGtinRow> {
    let mut then: HashMap<&str, &ItemGtinRow> = HashMap::new();
    for row in said.iter().filter(|row| row.since <= lot.came_to_be_at) {
        then.insert(&row.gtin, row);
    }
    let is_its = |row: &&&ItemGtinRow| {
        row.item_id == lot.item_id && (row.supplier_id.is_none() || row.supplier_id == lot.supplier_id)
    };
    let fitting: Vec<&ItemGtinRow> = then.values().filter(is_its).copied().collect();
    if let [only] = fitting[..] {
        return Some(only);
    }
    let of_its_mass: Vec<_> = fitting.into_iter().filter(|row| row.unit_mg == Some(lot.mass_mg)).collect();
    if let [only] = of_its_mass[..] { Some(only) } else { None }
}
