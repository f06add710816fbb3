//! Both backends have the same tables.

use std::collections::{BTreeMap, BTreeSet};

use diesel::sql_types::{Bool, Nullable, Text};
use diesel::{QueryableByName, RunQueryDsl, sql_query};
use tubtrail_storage::{AnyConnection, migrations};
use tubtrail_tests::{Backend, TestDatabase};

use crate::every_fact::NO_FACTS;
use crate::house::{numbers, texts};

/// A table, in words that both backends share.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// Name to type and whether it may be null.
    pub columns: BTreeMap<String, (String, bool)>,
    /// Its columns, in order.
    pub primary_key: Vec<String>,
    /// Column, the table it names and that table's column, what happens on deletion.
    pub foreign_keys: BTreeSet<(String, String, String, String)>,
    /// The columns of each, in order; the primary key is not among them.
    pub unique: BTreeSet<Vec<String>>,
    /// Name to columns, in order, and whether it covers only some rows.
    pub indices: BTreeMap<String, (Vec<String>, bool)>,
    /// How many CHECKs.
    pub checks: usize,
}

/// Every table but diesel's own.
pub fn tables(conn: &mut AnyConnection) -> BTreeMap<String, Table> {
    let query = match conn {
        AnyConnection::Sqlite(_) => "SELECT name AS text FROM sqlite_master WHERE type = 'table' ORDER BY name",
        AnyConnection::Postgres(_) => {
            "SELECT table_name::text AS text FROM information_schema.tables \
             WHERE table_schema = current_schema() ORDER BY table_name"
        }
    };
    let names = texts(conn, query);
    let ours = names.into_iter().filter(|name| name != "__diesel_schema_migrations");
    ours.map(|name| (name.clone(), table(conn, &name))).collect()
}

/// Every table that holds facts.
pub fn fact_tables(conn: &mut AnyConnection) -> Vec<String> {
    tables(conn).into_keys().filter(|name| !NO_FACTS.contains(&name.as_str())).collect()
}

fn table(conn: &mut AnyConnection, name: &str) -> Table {
    match conn {
        AnyConnection::Sqlite(_) => sqlite_table(conn, name),
        AnyConnection::Postgres(_) => postgres_table(conn, name),
    }
}

#[derive(QueryableByName)]
struct Column {
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Bool)]
    nullable: bool,
}

#[derive(QueryableByName)]
struct ForeignKey {
    #[diesel(sql_type = Text)]
    column: String,
    #[diesel(sql_type = Text)]
    names: String,
    #[diesel(sql_type = Text)]
    names_column: String,
    #[diesel(sql_type = Text)]
    on_delete: String,
}

/// A primary key (no name), a unique set (no name) or an index.
#[derive(QueryableByName)]
struct Index {
    #[diesel(sql_type = Nullable<Text>)]
    name: Option<String>,
    #[diesel(sql_type = Bool)]
    is_primary: bool,
    #[diesel(sql_type = Bool)]
    is_unique: bool,
    #[diesel(sql_type = Bool)]
    is_partial: bool,
    #[diesel(sql_type = Text)]
    columns: String,
}

fn assemble(columns: Vec<Column>, foreign_keys: Vec<ForeignKey>, indices: Vec<Index>, checks: usize) -> Table {
    let mut table = Table { checks, ..Table::default() };
    table.columns = columns.into_iter().map(|column| (column.name, (column.kind, column.nullable))).collect();
    table.foreign_keys =
        foreign_keys.into_iter().map(|key| (key.column, key.names, key.names_column, key.on_delete)).collect();
    for index in indices {
        let columns: Vec<String> = index.columns.split(',').map(str::to_owned).collect();
        match index.name {
            _ if index.is_primary => table.primary_key = columns,
            Some(name) => {
                assert!(!index.is_unique, "{name} is unique: compare that too");
                table.indices.insert(name, (columns, index.is_partial));
            }
            None => {
                table.unique.insert(columns);
            }
        }
    }
    table
}

fn sqlite_table(conn: &mut AnyConnection, name: &str) -> Table {
    let columns = sql_query(format!(
        "SELECT name, CASE type WHEN 'BIGINT' THEN 'bigint' WHEN 'INTEGER' THEN 'integer' WHEN 'TEXT' THEN 'text' \
         WHEN 'BOOLEAN' THEN 'boolean' WHEN 'TIMESTAMP' THEN 'timestamp' WHEN 'DATE' THEN 'date' WHEN 'BLOB' THEN 'bytea' ELSE 'sqlite ' || type END \
         AS kind, NOT \"notnull\" AS nullable FROM pragma_table_info('{name}')"
    ));
    let foreign_keys = sql_query(format!(
        "SELECT \"from\" AS \"column\", \"table\" AS names, \"to\" AS names_column, lower(on_delete) AS on_delete \
         FROM pragma_foreign_key_list('{name}')"
    ));
    let indices = sql_query(format!(
        "SELECT CASE origin WHEN 'c' THEN i.name END AS name, origin = 'pk' AS is_primary, \"unique\" AS is_unique, \
         partial AS is_partial, (SELECT group_concat(c.name, ',') FROM \
         (SELECT name FROM pragma_index_info(i.name) ORDER BY seqno) AS c) AS columns \
         FROM pragma_index_list('{name}') AS i"
    ));
    let sql = texts(conn, &format!("SELECT sql AS text FROM sqlite_master WHERE type = 'table' AND name = '{name}'"));
    assemble(
        columns.load(conn).unwrap(),
        foreign_keys.load(conn).unwrap(),
        indices.load(conn).unwrap(),
        sql.concat().matches("CHECK (").count(),
    )
}

fn postgres_table(conn: &mut AnyConnection, name: &str) -> Table {
    let columns = sql_query(format!(
        "SELECT column_name::text AS name, CASE data_type WHEN 'timestamp without time zone' THEN 'timestamp' \
         ELSE data_type::text END AS kind, is_nullable = 'YES' AS nullable FROM information_schema.columns \
         WHERE table_schema = current_schema() AND table_name = '{name}'"
    ));
    let foreign_keys = sql_query(format!(
        "SELECT a.attname::text AS \"column\", c.confrelid::regclass::text AS names, f.attname::text AS names_column, \
         CASE c.confdeltype WHEN 'a' THEN 'no action' ELSE c.confdeltype::text END AS on_delete FROM pg_constraint c \
         JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[1] \
         JOIN pg_attribute f ON f.attrelid = c.confrelid AND f.attnum = c.confkey[1] \
         WHERE c.contype = 'f' AND c.conrelid = '{name}'::regclass"
    ));
    let indices = sql_query(format!(
        "SELECT CASE WHEN k.oid IS NULL THEN x.relname::text END AS name, i.indisprimary AS is_primary, \
         i.indisunique AS is_unique, i.indpred IS NOT NULL AS is_partial, \
         (SELECT string_agg(a.attname, ',' ORDER BY p.place) FROM unnest(i.indkey) WITH ORDINALITY AS p (attnum, place) \
         JOIN pg_attribute a ON a.attrelid = i.indrelid AND a.attnum = p.attnum) AS columns \
         FROM pg_index i JOIN pg_class x ON x.oid = i.indexrelid \
         LEFT JOIN pg_constraint k ON k.conindid = i.indexrelid AND k.contype IN ('p', 'u') \
         WHERE i.indrelid = '{name}'::regclass"
    ));
    let checks = numbers(
        conn,
        &format!("SELECT COUNT(*) AS number FROM pg_constraint WHERE contype = 'c' AND conrelid = '{name}'::regclass"),
    );
    assemble(
        columns.load(conn).unwrap(),
        foreign_keys.load(conn).unwrap(),
        indices.load(conn).unwrap(),
        usize::try_from(checks[0]).unwrap(),
    )
}

#[test]
fn both_backends_have_the_same_tables() {
    let [sqlite, postgres] = Backend::BOTH.map(|backend| {
        let database = TestDatabase::new(backend);
        let mut conn = database.connect();
        migrations::run(&mut conn).unwrap();
        tables(&mut conn)
    });
    assert!(sqlite.len() > 30, "the tables are found at all");
    assert_eq!(sqlite.keys().collect::<Vec<_>>(), postgres.keys().collect::<Vec<_>>());
    for (name, table) in &sqlite {
        assert_eq!(table, &postgres[name], "{name}: SQLite (left) and PostgreSQL (right) differ");
        assert!(!table.primary_key.is_empty(), "{name} has no primary key");
    }
}

/// Each backend names one thing of each sort as it does in its migrations: the comparison above compares something.
#[test]
fn the_tables_are_seen_whole() {
    for backend in Backend::BOTH {
        let database = TestDatabase::new(backend);
        let mut conn = database.connect();
        migrations::run(&mut conn).unwrap();
        let tables = tables(&mut conn);
        let lots = &tables["lots"];
        assert_eq!(lots.columns["mass_mg"], ("bigint".into(), false), "{backend}");
        assert_eq!(lots.columns["expires_on"], ("date".into(), true), "{backend}");
        assert_eq!(lots.primary_key, ["id"], "{backend}");
        assert!(lots.unique.contains(&vec!["day".to_owned(), "serial".to_owned()]), "{backend}");
        assert_eq!(lots.indices["lots_by_supplier"], (vec!["supplier_id".into(), "id".into()], false), "{backend}");
        let supplier = ("supplier_id".into(), "partners".into(), "id".into(), "no action".into());
        assert!(lots.foreign_keys.contains(&supplier), "{backend}: {:?}", lots.foreign_keys);
        assert_eq!(lots.checks, 5, "{backend}");
        let balances = &tables["balances"];
        assert_eq!(balances.primary_key, ["lot_id", "site_id", "state"], "{backend}");
        assert!(balances.indices["balances_on_hand"].1, "{backend}: it covers only some rows");
    }
}
