//! The one write transaction: gives out ids, takes facts, moves mass, and closes with a journal entry.

use std::borrow::Cow;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::NaiveDateTime;
use diesel::RunQueryDsl;
use serde::Serialize;
use sha2::{Digest, Sha256};
use tubtrail_domain::lot_number::LotNumber;
use tubtrail_domain::place::Place;

use crate::fact::Fact;
use crate::group::Group;
use crate::journal::{Head, JournalRow};
use crate::kept::{Kept, Value};
use crate::standing::{self, StandingRow};
use crate::stock::{HoldRow, MovementRow, balance};
use crate::{AnyConnection, StorageError};

/// Bytes of a row's SHA-256 kept beside the entry; a multiple of three, so that base64 needs no padding.
pub(crate) const ROW_DIGEST_BYTES: usize = 6;

/// Who does what, under which key: what the journal says of a command besides its rows.
#[derive(Clone, Debug, Default)]
pub struct EntryHeader {
    /// `user:LOGIN`, `device:CODE` or `system`.
    pub actor: String,
    /// The operation's id.
    pub operation: &'static str,
    /// The request it came with.
    pub request_id: Option<String>,
    /// The client's key, and the hash of the request it stands for.
    pub key: Option<Key>,
    /// The answer holds a secret: do not keep it.
    pub answer_is_secret: bool,
    /// What the command asks of the index.
    pub asks: Asks,
    /// The command reads nothing of the journal without [`WriteTx::write_journal`]: what others of its group wrote there may
    /// wait, and be written together.
    pub leaves_journal: bool,
    /// The lot it asks for with [`WriteTx::standing`]: looked up before, together with those of its group.
    pub lot: Option<LotNumber>,
}

/// What a command asks of the index, which holds what was committed and not what others of the same group have written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Asks {
    /// Nothing.
    #[default]
    Nothing,
    /// Whether a lot is recalled.
    Recalls,
    /// Anything of the lot graph.
    Graph,
}

/// What the lot graph is made of.
const GRAPH_TABLES: &[&str] = &[
    "batch_equipment",
    "batches",
    "clean_kind_versions",
    "clean_voids",
    "cleans",
    "completions",
    "equipment_voids",
    "lots",
    "statements",
    "untracked_inputs",
    "use_voids",
    "uses",
];

/// What says how a lot stands, besides what [`WriteTx::hold`] and [`WriteTx::move_mass`] write.
const STANDING_TABLES: &[&str] = &["hold_releases", "holds", "lot_rejections", "movements"];

/// What says which lots are recalled, besides the graph.
const RECALL_TABLES: &[&str] = &["recall_endings", "recall_seeds", "recalls"];

/// What some commands wrote that may change the answers of the index.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Touched {
    /// The lot graph.
    pub graph: bool,
    /// The recalls.
    pub recalls: bool,
    /// Something came to stand in a place of the house; the earliest that was.
    pub brought_in_at: Option<NaiveDateTime>,
}

impl Touched {
    /// These and others.
    pub fn add(&mut self, other: &Self) {
        self.graph |= other.graph;
        self.recalls |= other.recalls;
        self.brought_in_at = self.brought_in_at.into_iter().chain(other.brought_in_at).min();
    }

    fn add_table(&mut self, table: &str) {
        self.graph |= GRAPH_TABLES.contains(&table);
        self.recalls |= RECALL_TABLES.contains(&table);
    }
}

/// A client's key for retrying.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Key {
    /// As sent.
    pub key: String,
    /// SHA-256 of operation, path and body, hex.
    pub request_hash: String,
}

/// A journal entry being written.
pub struct WriteTx<'c> {
    conn: &'c mut AnyConnection,
    group: &'c mut Group,
    head: Head,
    now: NaiveDateTime,
    site_id: Option<i64>,
    facts: Sha256,
    digests: Vec<u8>,
    changes: Vec<(&'static str, i64, i64)>,
    touched: Touched,
}

impl<'c> WriteTx<'c> {
    pub(crate) fn new(conn: &'c mut AnyConnection, group: &'c mut Group, now: NaiveDateTime) -> Self {
        let (head, facts, touched) = (group.head.clone(), Sha256::new(), Touched::default());
        Self { conn, group, head, now, site_id: None, facts, digests: Vec::new(), changes: Vec::new(), touched }
    }

    /// The connection, to read with; write through [`Self::record`], [`Self::hold`] and [`Self::move_mass`] only.
    ///
    /// # Errors
    /// If what waited to be written is refused.
    pub fn conn(&mut self) -> Result<&mut AnyConnection, StorageError> {
        self.group.ready(self.conn)?;
        Ok(self.conn)
    }

    /// How a lot stands; none, if no lot has this number.
    ///
    /// # Errors
    /// If the database refuses.
    pub fn standing(&mut self, lot: LotNumber) -> Result<Option<StandingRow>, StorageError> {
        match self.group.standing(lot) {
            Some(known) => Ok(Some(known.clone())),
            None => standing::by_number(self.conn()?, lot),
        }
    }

    /// Sees to it that the journal can be read as it stands. Only a command that leaves the journal alone must ask for it.
    pub fn write_journal(&mut self) -> Result<(), StorageError> {
        self.group.ready(self.conn)?;
        self.group.write_journal(self.conn)
    }

    /// The entry's position.
    pub fn entry(&self) -> i64 {
        self.head.seq + 1
    }

    /// The moment of the commit, UTC, in whole microseconds.
    pub fn now(&self) -> NaiveDateTime {
        self.now
    }

    /// Says at which site this happens.
    pub fn at_site(&mut self, site_id: i64) {
        self.site_id = Some(site_id);
    }

    /// A fresh row id.
    pub fn id(&mut self) -> i64 {
        self.head.last_id += 1;
        self.head.last_id
    }

    /// A fresh lot id; these are dense.
    pub fn lot_id(&mut self) -> i64 {
        self.head.last_lot_id += 1;
        self.head.last_lot_id
    }

    /// Inserts a fact and binds it into the entry.
    pub fn record<F: Fact>(&mut self, row: &F) -> Result<(), StorageError> {
        row.insert(self.conn()?)?;
        if STANDING_TABLES.contains(&F::TABLE) {
            self.group.forget_all();
        }
        self.bind(row)
    }

    /// Records a hold; it is inserted with others, later.
    pub fn hold(&mut self, row: &HoldRow) -> Result<(), StorageError> {
        self.bind(row)?;
        self.group.rows.hold(row.clone());
        self.group.forget(row.lot_id);
        Ok(())
    }

    /// Binds a fact into the entry.
    fn bind<F: Fact>(&mut self, row: &F) -> Result<(), StorageError> {
        let digest = Sha256::digest(encode(row)?);
        self.facts.update(digest);
        self.digests.extend_from_slice(&digest[..ROW_DIGEST_BYTES]);
        self.touched.add_table(F::TABLE);
        match self.changes.last_mut() {
            Some((table, first, count)) if *table == F::TABLE && *first + *count == row.id() => *count += 1,
            _ => self.changes.push((F::TABLE, row.id(), 1)),
        }
        Ok(())
    }

    /// Records a movement and changes the two balances it touches; refuses with [`StorageError::Short`] where the place
    /// it leaves holds less.
    pub fn move_mass(&mut self, movement: &MovementRow) -> Result<(), StorageError> {
        self.take(movement.lot_id, movement.from()?, movement.mass_mg)?;
        let to = movement.to()?;
        self.give(movement.lot_id, to, movement.mass_mg)?;
        if to.state.is_on_hand() {
            self.touched.add(&Touched { brought_in_at: Some(movement.occurred_at), ..Touched::default() });
        }
        self.bind(movement)?;
        self.group.rows.movement(movement.clone());
        self.group.forget(movement.lot_id);
        Ok(())
    }

    fn take(&mut self, lot_id: i64, place: Place, mass_mg: i64) -> Result<(), StorageError> {
        let text = "UPDATE balances SET mass_mg = mass_mg - ? \
                    WHERE lot_id = ? AND site_id = ? AND state = ? AND mass_mg >= ?";
        let least_mg = if place.state.may_be_negative() { i64::MIN } else { mass_mg };
        let values = vec![
            Value::Number(mass_mg),
            Value::Number(lot_id),
            Value::Number(place.site_id),
            Value::Text(place.state.word()),
            Value::Number(least_mg),
        ];
        if Kept::<()>::new(text, values).execute(self.conn()?)? > 0 {
            return Ok(());
        }
        if place.state.may_be_negative() {
            return self.give(lot_id, place, -mass_mg);
        }
        let on_hand_mg = balance(self.conn()?, lot_id, place)?;
        let (site_id, state) = (place.site_id, place.state);
        Err(StorageError::Short { lot_id, site_id, state, on_hand_mg, wanted_mg: mass_mg })
    }

    fn give(&mut self, lot_id: i64, place: Place, mass_mg: i64) -> Result<(), StorageError> {
        let text = "INSERT INTO balances (lot_id, site_id, state, mass_mg) VALUES (?, ?, ?, ?) \
                    ON CONFLICT (lot_id, site_id, state) DO UPDATE SET mass_mg = balances.mass_mg + excluded.mass_mg";
        let values = vec![
            Value::Number(lot_id),
            Value::Number(place.site_id),
            Value::Text(place.state.word()),
            Value::Number(mass_mg),
        ];
        Kept::<()>::new(text, values).execute(self.conn()?)?;
        Ok(())
    }

    /// Makes the journal entry, and the command stand with it. The entry's position, and what was touched.
    pub(crate) fn finish<T: Serialize>(
        mut self,
        header: EntryHeader,
        answer: &T,
    ) -> Result<(i64, Touched), StorageError> {
        let (idempotency_key, request_hash) = header.key.map(|key| (key.key, key.request_hash)).unzip();
        let answer = if header.answer_is_secret { None } else { Some(serde_json::to_string(answer)?) };
        let mut row = JournalRow {
            seq: self.entry(),
            recorded_at: self.now,
            actor: header.actor,
            operation: header.operation.to_owned(),
            site_id: self.site_id,
            request_id: header.request_id,
            idempotency_key,
            request_hash,
            answer,
            changes: serde_json::to_string(&self.changes)?,
            digests: URL_SAFE_NO_PAD.encode(&self.digests),
            previous_hash: std::mem::take(&mut self.head.hash),
            hash: String::new(),
        };
        row.hash = entry_hash(&row, &self.facts.finalize())?;
        self.head.seq = row.seq;
        self.head.hash.clone_from(&row.hash);
        self.group.keep(row, self.head, &self.changes);
        Ok((self.group.head.seq, self.touched))
    }
}

/// A row as the journal's hash sees it.
pub(crate) fn encode<F: Fact>(row: &F) -> Result<Vec<u8>, StorageError> {
    let mut bytes = F::TABLE.as_bytes().to_vec();
    bytes.push(b'\n');
    serde_json::to_writer(&mut bytes, row)?;
    Ok(bytes)
}

/// The hash of an entry: over its own columns (its hash left empty) and the digest of its rows.
pub(crate) fn entry_hash(row: &JournalRow, facts: &[u8]) -> Result<String, StorageError> {
    let unsealed = if row.hash.is_empty() {
        Cow::Borrowed(row)
    } else {
        Cow::Owned(JournalRow { hash: String::new(), ..row.clone() })
    };
    let mut hash = Sha256::new();
    hash.update(serde_json::to_vec(unsealed.as_ref())?);
    hash.update(facts);
    Ok(hex(&hash.finalize()))
}

/// Some bytes in hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        // Writing to a text cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
