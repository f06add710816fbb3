//! Someone who is told, a test, what was sent, and a stop.

use tubtrail_storage::webhooks::{WebhookAttemptRow, WebhookRow, WebhookSecretRow, WebhookSwitchRow, WebhookTestRow};
use tubtrail_storage::{StorageError, WriteTx};

use super::at;
use crate::house::add;

pub fn webhook(tx: &mut WriteTx<'_>, full: bool, mark: &str) -> Result<(), StorageError> {
    let entry = tx.entry();
    let url = "https://bistro.northquay.example/".to_owned();
    let events = "hold.placed".to_owned();
    let webhook_id =
        add(tx, |id| WebhookRow { id, entry, code: format!("screen-{mark}"), name: "Screen".into(), url, events })?;
    let (nonce, fingerprint) = ("bm9uY2U".to_owned(), "5f1c".to_owned());
    add(tx, |id| WebhookSecretRow { id, entry, webhook_id, nonce, fingerprint, at_once: full })?;
    let event_id = add(tx, |id| WebhookTestRow { id, entry, webhook_id })?;
    add(tx, |id| WebhookAttemptRow {
        id,
        entry,
        webhook_id,
        event_id,
        event: "test".into(),
        number: 1,
        attempted_at: at(5),
        took_ms: 40,
        status: full.then_some(204),
        said: "thanks".into(),
        delivered: full,
        wait_ms: full.then_some(5000),
    })?;
    let skipped_to = full.then_some(event_id);
    add(tx, |id| WebhookSwitchRow { id, entry, webhook_id, is_on: full, reason: "away".into(), skipped_to }).map(|_| ())
}
