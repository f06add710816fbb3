-- The journal: one row for every command that was committed, each bound to the one before by its hash.
CREATE TABLE journal (
    seq BIGINT NOT NULL PRIMARY KEY,
    recorded_at TIMESTAMP NOT NULL,
    actor TEXT NOT NULL,
    operation TEXT NOT NULL,
    site_id BIGINT,
    request_id TEXT,
    idempotency_key TEXT,
    request_hash TEXT,
    answer TEXT,
    changes TEXT NOT NULL,
    digests TEXT NOT NULL,
    previous_hash TEXT NOT NULL,
    hash TEXT NOT NULL,
    UNIQUE (actor, idempotency_key)
);

-- One row, changed in place: where the journal stands, and the last numbers given out.
CREATE TABLE journal_head (
    id BIGINT NOT NULL PRIMARY KEY CHECK (id = 1),
    seq BIGINT NOT NULL,
    hash TEXT NOT NULL,
    last_id BIGINT NOT NULL,
    last_lot_id BIGINT NOT NULL
);
INSERT INTO journal_head (id, seq, hash, last_id, last_lot_id)
VALUES (1, 0, '0000000000000000000000000000000000000000000000000000000000000000', 0, 0);

-- Facts only grow.
CREATE TRIGGER journal_refuse_update BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on journal is refused'); END;
CREATE TRIGGER journal_refuse_delete BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on journal is refused'); END;
