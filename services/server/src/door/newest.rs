//! The last commit: an answer must not be older, on any instance. Many ask at the same time; who comes while it is asked waits
//! for the next question, which then is asked once for all of them.

use parking_lot::Mutex;
use tokio::sync::oneshot::{Sender, channel};

use crate::house::House;

/// Those who wait to hear of the last commit.
#[derive(Default)]
pub struct Newest {
    waiting: Mutex<Waiting>,
}

#[derive(Default)]
struct Waiting {
    told: Vec<Sender<i64>>,
    is_asked: bool,
}

/// The last journal entry anybody had committed when this was asked, or a later one; the index holds it. None where the
/// database does not say.
pub async fn last_commit(house: &House) -> Option<i64> {
    if let Some(last) = house.tubtrail.last_commit_at_hand() {
        return Some(last);
    }
    let (tell, told) = channel();
    let begins = {
        let mut waiting = house.door.newest.waiting.lock();
        waiting.told.push(tell);
        !std::mem::replace(&mut waiting.is_asked, true)
    };
    if begins {
        let house = house.clone();
        tokio::task::spawn_blocking(move || ask(&house));
    }
    told.await.ok()
}

/// Asks the database until nobody waits any more.
fn ask(house: &House) {
    loop {
        let told = {
            let mut waiting = house.door.newest.waiting.lock();
            if waiting.told.is_empty() {
                waiting.is_asked = false;
                return;
            }
            std::mem::take(&mut waiting.told)
        };
        match house.tubtrail.last_commit() {
            Ok(last) => {
                for tell in told {
                    // Whoever has gone meanwhile does not hear it.
                    let _ = tell.send(last);
                }
            }
            // Whoever is told nothing asks by themselves, and is told why there is no answer.
            Err(error) => tracing::warn!(%error, "the database does not say what was committed last"),
        }
    }
}
