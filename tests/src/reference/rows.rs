//! The reference world as rows of a database: what was told is inserted as text, many rows a statement; what follows from it
//! (movements, balances, runs) is made by the database from those.

use std::fmt::Write as _;

use diesel::connection::SimpleConnection;
use diesel::{QueryResult, RunQueryDsl, sql_query};
use tubtrail_storage::{AnyConnection, Database, DatabaseUrl, StorageError, connection};

use super::{
    BASES, Batch, COMPONENTS, FLAVOURS, INGREDIENTS, Item, Listener, MACHINES, Made, Received, SHOPS, SUPPLIERS, Size,
    Use, at, first_day, tell,
};

/// Rows of one statement.
const TOGETHER: usize = 500;

/// Writes a world into an empty database. It has the facts and no journal but its head: it is there to be read fast, and
/// `verify` would say so.
///
/// # Errors
/// If the database refuses.
pub fn fill(url: &DatabaseUrl, size: Size, seed: u64) -> Result<(), StorageError> {
    Database::migrate(url)?;
    let mut conn = connection::connect(url)?;
    // What is lost on the way is made again.
    conn.batch_execute(match conn {
        AnyConnection::Sqlite(_) => {
            // Straight into the file: a log of one transaction that makes all of it would be larger than the world.
            "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -1000000; \
             PRAGMA temp_store = FILE; PRAGMA foreign_keys = OFF; BEGIN"
        }
        // What is named is there: to look it up for every row would take longer than to write them.
        AnyConnection::Postgres(_) => {
            "SET statement_timeout = 0; SET session_replication_role = replica; SET synchronous_commit = off; BEGIN"
        }
    })?;
    let mut rows = Rows::new(&mut conn, size);
    rows.master_data()?;
    tell(size, seed, &mut rows);
    rows.finish()?;
    conn.batch_execute("COMMIT")?;
    Ok(())
}

/// Row ids of the master data: each kind has a thousand of its own.
const SITES: u32 = 1000;
const PARTNERS: u32 = 2000;
const ITEMS: u32 = 3000;
const RECIPES: u32 = 4000;
const EQUIPMENT: u32 = 5000;
/// Above them: transfers and then receipts, one a day from each kitchen to each of its shops; deliveries, batches, uses.
const TRANSFERS: u32 = 10_000;

struct Rows<'c> {
    conn: &'c mut AnyConnection,
    size: Size,
    tables: [Pending; 6],
    row: u32,
    entry: u32,
    lots: u32,
    /// Of the day told now: its number and its last serial.
    serial: (u32, u32),
    batch: Option<Batch>,
    batch_row: u32,
    failed: Option<diesel::result::Error>,
}

/// Rows that wait for a statement of their own.
struct Pending {
    into: &'static str,
    values: String,
    rows: usize,
}

const DELIVERIES: usize = 0;
const LOTS: usize = 1;
const BATCHES: usize = 2;
const USES: usize = 3;
const RUNS: usize = 4;
const COMPLETIONS: usize = 5;

const INTO: [&str; 6] = [
    "deliveries (id, entry, supplier_id, site_id, document, arrived_at)",
    "lots (id, entry, day, serial, item_id, site_id, kind, supplier_id, supplier_lot_code, delivery_id, batch_id, \
     mass_mg, came_to_be_at, expires_on, expiry_kind)",
    "batches (id, entry, recipe_version_id, site_id, started_at)",
    "uses (id, entry, batch_id, lot_id, mass_mg, entered_amount, entered_unit, used_at, in_recipe)",
    "batch_equipment (id, entry, batch_id, equipment_id, used_from, used_until)",
    "completions (id, entry, batch_id, completed_at, in_mg, out_mg)",
];

fn kitchen_row(kitchen: u32) -> u32 {
    SITES + kitchen * (SHOPS + 1)
}

fn item_row(item: Item) -> u32 {
    ITEMS
        + match item {
            Item::Ingredient(number) => number,
            Item::Base(number) => INGREDIENTS + number,
            Item::Component(number) => INGREDIENTS + BASES + number,
            Item::Flavour(number) => INGREDIENTS + BASES + COMPONENTS + number,
        }
}

/// How many transfers there may be.
fn transfers(size: Size) -> u32 {
    size.kitchens * SHOPS * size.days
}

fn recipe_row(item: Item) -> u32 {
    RECIPES + item_row(item) - ITEMS
}

impl<'c> Rows<'c> {
    fn new(conn: &'c mut AnyConnection, size: Size) -> Self {
        let tables = INTO.map(|into| Pending { into, values: String::new(), rows: 0 });
        Self {
            conn,
            size,
            tables,
            row: TRANSFERS + 2 * transfers(size),
            entry: 1,
            lots: 0,
            serial: (0, 0),
            batch: None,
            batch_row: 0,
            failed: None,
        }
    }

    fn run(&mut self, sql: &str) -> QueryResult<usize> {
        sql_query(sql).execute(self.conn)
    }

    fn push(&mut self, table: usize, values: &str) {
        let pending = &mut self.tables[table];
        pending.values.push_str(if pending.rows == 0 { "(" } else { ",(" });
        pending.values.push_str(values);
        pending.values.push(')');
        pending.rows += 1;
        // All of them together: what is named by one must be there before it.
        if pending.rows == TOGETHER {
            self.flush();
        }
    }

    fn flush(&mut self) {
        for table in [DELIVERIES, BATCHES, LOTS, USES, RUNS, COMPLETIONS] {
            let pending = &mut self.tables[table];
            if pending.rows == 0 {
                continue;
            }
            let sql = format!("INSERT INTO {} VALUES {}", pending.into, pending.values);
            pending.values.clear();
            pending.rows = 0;
            if let Err(error) = self.run(&sql) {
                self.failed.get_or_insert(error);
            }
        }
    }

    fn next_row(&mut self) -> u32 {
        self.row += 1;
        self.row
    }

    fn master_data(&mut self) -> QueryResult<()> {
        for kitchen in 0..self.size.kitchens {
            let row = kitchen_row(kitchen);
            self.named(
                "site",
                row,
                &format!("kitchen-{kitchen}"),
                "'kitchen', 'UTC', TRUE",
                "kind, time_zone, active",
            )?;
            for shop in 1..=SHOPS {
                let code = format!("shop-{kitchen}-{shop}");
                self.named("site", row + shop, &code, "'shop', 'UTC', TRUE", "kind, time_zone, active")?;
            }
            for machine in 0..MACHINES {
                let id = EQUIPMENT + kitchen * MACHINES + machine;
                let code = format!("machine-{kitchen}-{machine}");
                self.run(&format!("INSERT INTO equipment (id, entry, code) VALUES ({id}, 1, '{code}')"))?;
                self.run(&format!(
                    "INSERT INTO equipment_versions (id, entry, equipment_id, version, name, site_id, touches, active) \
                     VALUES ({id}, 1, {id}, 1, '{code}', {row}, 'base,flavour', TRUE)"
                ))?;
            }
        }
        for supplier in 0..SUPPLIERS {
            let code = format!("supplier-{supplier}");
            self.named("partner", PARTNERS + supplier, &code, "TRUE, FALSE, TRUE", "supplies, takes_tubs, active")?;
        }
        let restaurant = PARTNERS + SUPPLIERS;
        self.named("partner", restaurant, "restaurant", "FALSE, TRUE, TRUE", "supplies, takes_tubs, active")?;
        (0..INGREDIENTS).try_for_each(|number| self.item(Item::Ingredient(number), "ingredient", number))?;
        (0..BASES).try_for_each(|number| self.item(Item::Base(number), "base", number))?;
        (0..COMPONENTS).try_for_each(|number| self.item(Item::Component(number), "component", number))?;
        (0..FLAVOURS).try_for_each(|number| self.item(Item::Flavour(number), "flavour", number))
    }

    /// A site or partner with its one version.
    fn named(&mut self, noun: &str, id: u32, code: &str, values: &str, columns: &str) -> QueryResult<()> {
        self.run(&format!("INSERT INTO {noun}s (id, entry, code) VALUES ({id}, 1, '{code}')"))?;
        self.run(&format!(
            "INSERT INTO {noun}_versions (id, entry, {noun}_id, version, name, {columns}) \
             VALUES ({id}, 1, {id}, 1, '{code}', {values})"
        ))?;
        Ok(())
    }

    fn item(&mut self, item: Item, kind: &str, number: u32) -> QueryResult<()> {
        let (id, code) = (item_row(item), format!("{kind}-{number}"));
        self.run(&format!("INSERT INTO items (id, entry, code, kind) VALUES ({id}, 1, '{code}', '{kind}')"))?;
        self.run(&format!(
            "INSERT INTO item_versions (id, entry, item_id, version, name, counted_by, tracked, kept, portion_mg, active) \
             VALUES ({id}, 1, {id}, 1, '{code}', 'mass', TRUE, 'ambient', 80000, TRUE)"
        ))?;
        if kind != "ingredient" {
            let row = recipe_row(item);
            self.run(&format!("INSERT INTO recipes (id, entry, code, item_id) VALUES ({row}, 1, '{code}', {id})"))?;
            self.run(&format!(
                "INSERT INTO recipe_versions (id, entry, recipe_id, version, name, expected_yield_mg, maturing_minutes, \
                 active) VALUES ({row}, 1, {row}, 1, '{code}', 9000000, 0, TRUE)"
            ))?;
        }
        Ok(())
    }

    fn serial(&mut self, day: u32) -> u32 {
        if self.serial.0 != day {
            self.serial = (day, 0);
        }
        self.serial.1 += 1;
        self.serial.1
    }

    /// What follows from what was told, and the head of the journal.
    fn finish(mut self) -> Result<(), StorageError> {
        self.flush();
        if let Some(error) = self.failed.take() {
            return Err(error.into());
        }
        let mut next = self.row + 1;
        for (name, sql) in derived(self.size) {
            let rows = self.run(&sql.replace("{row}", &next.to_string()))?;
            eprintln!("  {rows:>9} {name}");
            next += u32::try_from(rows).unwrap_or(u32::MAX - next);
        }
        self.run(&format!(
            "UPDATE journal_head SET seq = {}, last_id = {next}, last_lot_id = {}, hash = '{}' WHERE id = 1",
            self.entry,
            self.lots,
            "1".repeat(64)
        ))?;
        Ok(())
    }
}

/// Statements that make a table of each day's evening so many days later.
fn days_later(days: u32) -> Vec<(&'static str, String)> {
    let later = (0..=5).flat_map(|later| {
        (0..days).map(move |day| {
            let made = first_day() + chrono::Days::new(u64::from(day));
            format!("('{made}', {day}, {later}, '{}')", at(day + later, 1200))
        })
    });
    let values = later.collect::<Vec<_>>().join(",");
    let columns = "day DATE NOT NULL, number INTEGER NOT NULL, later INTEGER NOT NULL, at TIMESTAMP NOT NULL";
    vec![
        ("tables", format!("CREATE TABLE days_later ({columns})")),
        ("days", format!("INSERT INTO days_later VALUES {values}")),
    ]
}

/// Statements that make transfers, movements and balances, with `{row}` for the last row id given out.
fn derived(size: Size) -> Vec<(&'static str, String)> {
    let days = size.days;
    let columns = "id, entry, lot_id, kind, from_site_id, from_state, to_site_id, to_state, mass_mg, occurred_at, use_id, \
                   partner_id, transfer_id";
    let shop = format!("l.site_id + 1 + l.id % {SHOPS}");
    let transfer = format!(
        "{TRANSFERS} + (w.number * {} + (l.site_id - {SITES}) / {}) * {SHOPS} + l.id % {SHOPS}",
        size.kitchens,
        SHOPS + 1
    );
    // Of each lot one at most, so its own id tells the row's.
    let one_a_lot = |kind: &str, from: (&str, &str), to: (&str, &str), days_later: u32, which: &str| {
        let (from_site, from_state) = from;
        let (to_site, to_state) = to;
        format!(
            "INSERT INTO movements ({columns}) SELECT {{row}} + ROW_NUMBER() OVER (ORDER BY l.id), l.entry, l.id, '{kind}', \
             {from_site}, '{from_state}', {to_site}, '{to_state}', l.mass_mg, w.at, NULL, \
             CASE WHEN '{kind}' = 'consigned' THEN {} END, CASE WHEN '{kind}' IN ('dispatched', 'arrived') THEN {transfer} END \
             FROM lots l JOIN days_later w ON w.day = l.day AND w.later = {days_later} WHERE {which}",
            PARTNERS + SUPPLIERS
        )
    };
    let last = |before: u32| {
        let day = first_day() + chrono::Days::new(u64::from(days.saturating_sub(before)));
        format!("'{day}'")
    };
    let sent = format!("l.kind = 'tub' AND l.id % 20 <> 0 AND l.day < {}", last(1));
    let opened = format!("l.kind = 'tub' AND l.id % 20 <> 0 AND l.day < {}", last(2));
    let empty = format!("l.kind = 'tub' AND l.id % 20 <> 0 AND l.day < {}", last(4));
    let consigned = "l.kind = 'tub' AND l.id % 20 = 0".to_owned();
    let kitchen = "l.site_id";
    let mut statements = vec![
        (
            "movements: received",
            one_a_lot("received", (kitchen, "supplier"), (kitchen, "available"), 0, "l.kind = 'received'"),
        ),
        (
            "movements: made",
            one_a_lot("made", (kitchen, "production"), (kitchen, "available"), 0, "l.kind <> 'received'"),
        ),
        (
            "movements: used",
            format!(
                "INSERT INTO movements ({columns}) SELECT {{row}} + ROW_NUMBER() OVER (ORDER BY u.id), u.entry, u.lot_id, 'used', \
                 l.site_id, 'available', l.site_id, 'production', u.mass_mg, u.used_at, u.id, NULL, NULL \
                 FROM uses u JOIN lots l ON l.id = u.lot_id"
            ),
        ),
        (
            "transfers",
            format!(
                "INSERT INTO transfers (id, entry, from_site_id, to_site_id, dispatched_at) \
                 SELECT {transfer}, MAX(l.entry), l.site_id, {shop}, w.at \
                 FROM lots l JOIN days_later w ON w.day = l.day AND w.later = 1 WHERE {sent} \
                 GROUP BY w.number, l.site_id, l.id % {SHOPS}, w.at"
            ),
        ),
        (
            "receipts",
            format!(
                "INSERT INTO receipts (id, entry, transfer_id, received_at) \
                 SELECT id + {}, entry, id, dispatched_at FROM transfers",
                transfers(size)
            ),
        ),
        ("movements: dispatched", one_a_lot("dispatched", (kitchen, "available"), (kitchen, "in_transit"), 1, &sent)),
        ("movements: arrived", one_a_lot("arrived", (kitchen, "in_transit"), (&shop, "available"), 1, &sent)),
        ("movements: opened", one_a_lot("opened", (&shop, "available"), (&shop, "open"), 2, &opened)),
        ("movements: emptied", one_a_lot("emptied", (&shop, "open"), (&shop, "served"), 4, &empty)),
        ("movements: consigned", one_a_lot("consigned", (kitchen, "available"), (kitchen, "consigned"), 0, &consigned)),
    ];
    // What is left of a supplier lot after five days is thrown away.
    statements.push((
        "movements: discarded",
        format!(
            "INSERT INTO movements ({columns}) SELECT {{row}} + ROW_NUMBER() OVER (ORDER BY l.id), l.entry, l.id, 'discarded', \
             l.site_id, 'available', l.site_id, 'discarded', l.mass_mg - COALESCE(u.mg, 0), w.at, NULL, NULL, NULL \
             FROM lots l JOIN days_later w ON w.day = l.day AND w.later = 5 \
             LEFT JOIN (SELECT lot_id, SUM(mass_mg) AS mg FROM uses GROUP BY lot_id) u ON u.lot_id = l.id \
             WHERE l.kind <> 'tub' AND l.mass_mg > COALESCE(u.mg, 0) AND l.day < {}",
            last(5)
        ),
    ));
    statements.push((
        "balances",
        "INSERT INTO balances (lot_id, site_id, state, mass_mg) SELECT lot_id, site_id, state, CAST(SUM(mg) AS BIGINT) FROM \
         (SELECT lot_id, to_site_id AS site_id, to_state AS state, mass_mg AS mg FROM movements \
         UNION ALL SELECT lot_id, from_site_id, from_state, -mass_mg FROM movements) AS sides \
         GROUP BY lot_id, site_id, state"
            .to_owned(),
    ));
    let mut all = days_later(days);
    all.append(&mut statements);
    all.push(("tables", "DROP TABLE days_later".to_owned()));
    all
}

impl Listener for Rows<'_> {
    fn received(&mut self, Received { lot, ingredient, kitchen, day, mass_mg }: Received) {
        self.entry += 1;
        self.lots = lot;
        let (entry, delivery, serial) = (self.entry, self.next_row(), self.serial(day));
        let (site, supplier) = (kitchen_row(kitchen), PARTNERS + ingredient % SUPPLIERS);
        let came = at(day, 330);
        self.push(DELIVERIES, &format!("{delivery},{entry},{supplier},{site},'DN-{delivery}','{came}'"));
        let item = item_row(Item::Ingredient(ingredient));
        let best_before = came.date() + chrono::Days::new(60);
        self.push(
            LOTS,
            &format!(
                "{lot},{entry},'{}',{serial},{item},{site},'received',{supplier},'{ingredient:02}-{day:04}-{kitchen}',{delivery},\
                 NULL,{mass_mg},'{came}','{best_before}','best_before'",
                came.date()
            ),
        );
    }

    fn batch(&mut self, batch: Batch) {
        self.entry += 1;
        self.batch_row = self.next_row();
        self.batch = Some(batch);
        let (row, entry, run, done) = (self.batch_row, self.entry, self.next_row(), self.next_row());
        let site = kitchen_row(batch.kitchen);
        let machine = EQUIPMENT + batch.kitchen * MACHINES + batch.machine;
        let (from, until) = (at(batch.day, batch.minute), at(batch.day, batch.minute + 10));
        self.push(BATCHES, &format!("{row},{entry},{},{site},'{from}'", recipe_row(batch.makes)));
        self.push(RUNS, &format!("{run},{entry},{row},{machine},'{from}','{until}'"));
        self.push(COMPLETIONS, &format!("{done},{entry},{row},'{until}',10000000,9600000"));
    }

    fn used(&mut self, Use { lot, mass_mg }: Use) {
        let Some(batch) = self.batch else { return };
        let (row, entry, batch_row) = (self.next_row(), self.entry, self.batch_row);
        let used_at = at(batch.day, batch.minute);
        self.push(
            USES,
            &format!("{row},{entry},{batch_row},{lot},{mass_mg},'{}','g','{used_at}',TRUE", mass_mg / 1000),
        );
    }

    fn made(&mut self, Made { lot, kind, mass_mg }: Made) {
        let Some(batch) = self.batch else { return };
        self.lots = lot;
        let (entry, batch_row, serial) = (self.entry, self.batch_row, self.serial(batch.day));
        let (site, item, made) = (kitchen_row(batch.kitchen), item_row(batch.makes), at(batch.day, batch.minute + 10));
        let mut values = String::new();
        // Writing to a string cannot fail.
        let _ = write!(
            values,
            "{lot},{entry},'{}',{serial},{item},{site},'{kind}',NULL,NULL,NULL,{batch_row},{mass_mg},'{made}',NULL,NULL",
            made.date()
        );
        self.push(LOTS, &values);
    }
}
