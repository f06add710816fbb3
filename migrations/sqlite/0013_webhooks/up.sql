-- Webhooks: who is told of holds and recalls, what was sent to them and what they said; what was told of a recall's reach.
-- And article numbers that stand for nothing any more.

-- events: words with blanks between, as in 'hold.placed recall.begun'.
CREATE TABLE webhooks (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    url TEXT NOT NULL,
    events TEXT NOT NULL
);

CREATE INDEX webhooks_by_entry ON webhooks (entry);

-- What a secret is made of, together with a key that is not in here; fingerprint: to notice that the key is another.
-- at_once: the secret before it signs nothing any more.
CREATE TABLE webhook_secrets (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    webhook_id BIGINT NOT NULL REFERENCES webhooks (id),
    nonce TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    at_once BOOLEAN NOT NULL
);

CREATE INDEX webhook_secrets_by_entry ON webhook_secrets (entry);
CREATE INDEX webhook_secrets_by_webhook ON webhook_secrets (webhook_id);

-- Sending stops, or goes on. skipped_to: events up to this row id are not sent any more.
CREATE TABLE webhook_switches (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    webhook_id BIGINT NOT NULL REFERENCES webhooks (id),
    is_on BOOLEAN NOT NULL,
    reason TEXT NOT NULL,
    skipped_to BIGINT
);

CREATE INDEX webhook_switches_by_entry ON webhook_switches (entry);
CREATE INDEX webhook_switches_by_webhook ON webhook_switches (webhook_id);

-- A delivery was asked for, to try it.
CREATE TABLE webhook_tests (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    webhook_id BIGINT NOT NULL REFERENCES webhooks (id)
);

CREATE INDEX webhook_tests_by_entry ON webhook_tests (entry);
CREATE INDEX webhook_tests_by_webhook ON webhook_tests (webhook_id);

-- Something was sent, and this is what came back. event_id: the id of the row that the event is. number: from 1.
CREATE TABLE webhook_attempts (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    webhook_id BIGINT NOT NULL REFERENCES webhooks (id),
    event_id BIGINT NOT NULL,
    event TEXT NOT NULL,
    number INTEGER NOT NULL CHECK (number > 0),
    attempted_at TIMESTAMP NOT NULL,
    took_ms INTEGER NOT NULL CHECK (took_ms >= 0),
    status INTEGER,
    said TEXT NOT NULL,
    delivered BOOLEAN NOT NULL
);

CREATE INDEX webhook_attempts_by_entry ON webhook_attempts (entry);
CREATE INDEX webhook_attempts_by_event ON webhook_attempts (webhook_id, event_id);

-- A recall was found to reach other lots than before. digest: SHA-256 of which, hex.
CREATE TABLE recall_reaches (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL REFERENCES recalls (id),
    reached_lots BIGINT NOT NULL CHECK (reached_lots >= 0),
    reached_before BIGINT NOT NULL CHECK (reached_before >= 0),
    digest TEXT NOT NULL
);

CREATE INDEX recall_reaches_by_entry ON recall_reaches (entry);
CREATE INDEX recall_reaches_by_recall ON recall_reaches (recall_id);

-- From a moment on the number of an article stands for no item, until it is given to one anew.
CREATE TABLE gtin_withdrawals (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    gtin TEXT NOT NULL,
    since TIMESTAMP NOT NULL,
    reason TEXT NOT NULL
);

CREATE INDEX gtin_withdrawals_by_entry ON gtin_withdrawals (entry);
CREATE INDEX gtin_withdrawals_by_gtin ON gtin_withdrawals (gtin, since);

-- Facts only grow.
CREATE TRIGGER webhooks_refuse_update BEFORE UPDATE ON webhooks
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on webhooks is refused'); END;
CREATE TRIGGER webhooks_refuse_delete BEFORE DELETE ON webhooks
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on webhooks is refused'); END;
CREATE TRIGGER webhook_secrets_refuse_update BEFORE UPDATE ON webhook_secrets
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on webhook_secrets is refused'); END;
CREATE TRIGGER webhook_secrets_refuse_delete BEFORE DELETE ON webhook_secrets
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on webhook_secrets is refused'); END;
CREATE TRIGGER webhook_switches_refuse_update BEFORE UPDATE ON webhook_switches
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on webhook_switches is refused'); END;
CREATE TRIGGER webhook_switches_refuse_delete BEFORE DELETE ON webhook_switches
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on webhook_switches is refused'); END;
CREATE TRIGGER webhook_tests_refuse_update BEFORE UPDATE ON webhook_tests
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on webhook_tests is refused'); END;
CREATE TRIGGER webhook_tests_refuse_delete BEFORE DELETE ON webhook_tests
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on webhook_tests is refused'); END;
CREATE TRIGGER webhook_attempts_refuse_update BEFORE UPDATE ON webhook_attempts
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on webhook_attempts is refused'); END;
CREATE TRIGGER webhook_attempts_refuse_delete BEFORE DELETE ON webhook_attempts
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on webhook_attempts is refused'); END;
CREATE TRIGGER recall_reaches_refuse_update BEFORE UPDATE ON recall_reaches
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_reaches is refused'); END;
CREATE TRIGGER recall_reaches_refuse_delete BEFORE DELETE ON recall_reaches
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_reaches is refused'); END;
CREATE TRIGGER gtin_withdrawals_refuse_update BEFORE UPDATE ON gtin_withdrawals
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on gtin_withdrawals is refused'); END;
CREATE TRIGGER gtin_withdrawals_refuse_delete BEFORE DELETE ON gtin_withdrawals
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on gtin_withdrawals is refused'); END;
