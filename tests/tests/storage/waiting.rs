//! Rows that wait for the end of their group stand or fall with their command, and nobody who reads misses them.

use std::sync::{Arc, Mutex};

use tubtrail_domain::lot_number::LotNumber;
use tubtrail_storage::stock::HoldRow;
use tubtrail_storage::write::EntryHeader;
use tubtrail_storage::{AnyConnection, Fact, StorageError, standing};
use tubtrail_tests::{Backend, Dice, TestDatabase, on_both};

use crate::every_fact;
use crate::groups::{Work, submit_together};
use crate::house::{House, header};

on_both!(what_waits_stands_or_falls_with_its_command);

/// What a command does next.
#[derive(Clone, Copy, Debug)]
enum Act {
    /// Puts the lot on hold.
    Hold,
    /// Asks how the lot stands, as whoever decides does.
    Ask,
    /// Reads all holds.
    Read,
}

/// The reasons of the holds that stand, in order.
type Book = Arc<Mutex<Vec<String>>>;

/// A command that does some of it, and is refused or stands. `Err` is a refusal; what is wrong panics, and is told apart.
fn work(lot: LotNumber, number: usize, acts: Vec<Act>, refused: bool, book: Book) -> Work {
    Box::new(move |tx| {
        let mut mine = book.lock().unwrap().clone();
        for act in acts {
            match act {
                Act::Hold => {
                    let reason = format!("command {number}, row {}", mine.len());
                    let row = HoldRow { id: tx.id(), entry: tx.entry(), lot_id: 1, reason: reason.clone() };
                    tx.hold(&row)?;
                    mine.push(reason);
                }
                Act::Ask => {
                    let stands = tx.standing(lot)?.expect("the lot is there");
                    let oldest = stands.hold.map(|hold| hold.reason);
                    assert_eq!(oldest.as_ref(), mine.first(), "how it stands, to command {number}");
                }
                Act::Read => assert_eq!(reasons(tx.conn()?)?, mine, "what command {number} reads"),
            }
        }
        if refused {
            return Err(StorageError::Corrupt("refused".into()));
        }
        let held = i64::try_from(mine.len()).unwrap();
        *book.lock().unwrap() = mine;
        Ok(held)
    })
}

/// The reasons of the holds that commands of this test placed, in order.
fn reasons(conn: &mut AnyConnection) -> Result<Vec<String>, StorageError> {
    let holds = HoldRow::page(conn, 0, 10_000)?.into_iter().map(|hold| hold.reason);
    Ok(holds.filter(|reason| reason.starts_with("command ")).collect())
}

fn what_waits_stands_or_falls_with_its_command(backend: Backend) {
    let mut dice = Dice::roll();
    let database = TestDatabase::new(backend);
    let house = House::open(&database);
    every_fact::write(&house);
    let mut conn = database.connect();
    let lot = standing::by_id(&mut conn, 1).unwrap().expect("its first lot").lot.number().unwrap();
    assert!(standing::by_id(&mut conn, 1).unwrap().unwrap().hold.is_none(), "none is in force yet");
    let book: Book = Arc::default();
    for _ in 0..6 {
        let commands = (0..24).map(|number| {
            let acts = (0..dice.usize(..5)).map(|_| [Act::Hold, Act::Ask, Act::Read][dice.usize(..3)]).collect();
            let header = EntryHeader {
                leaves_journal: dice.usize(..4) > 0,
                lot: (dice.usize(..3) > 0).then_some(lot),
                ..header()
            };
            (header, work(lot, number, acts, dice.usize(..3) == 0, Arc::clone(&book)))
        });
        for outcome in submit_together(&house, commands.collect()) {
            if let Err(error) = outcome {
                assert!(matches!(&error, StorageError::Corrupt(why) if why == "refused"), "{error}");
            }
        }
        assert_eq!(reasons(&mut database.connect()).unwrap(), *book.lock().unwrap(), "what is committed");
    }
    assert!(!book.lock().unwrap().is_empty());
    database.check();
}
