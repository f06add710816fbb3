-- A recall that was closed may be withdrawn after all: it ends once each way.
-- closed: all accounted for; what is left stays on hold, but for a drill, which frees it. withdrawn: it was no recall after
-- all, and nothing is held any more.
CREATE TABLE endings (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL REFERENCES recalls (id),
    way TEXT NOT NULL CHECK (way IN ('closed', 'withdrawn')),
    ended_by TEXT NOT NULL,
    reason TEXT NOT NULL,
    UNIQUE (recall_id, way)
);
INSERT INTO endings (id, entry, recall_id, way, ended_by, reason)
SELECT id, entry, recall_id, way, ended_by, reason FROM recall_endings ORDER BY id;
DROP TABLE recall_endings;
ALTER TABLE endings RENAME TO recall_endings;

-- Facts only grow.
CREATE TRIGGER recall_endings_refuse_update BEFORE UPDATE ON recall_endings
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_endings is refused'); END;
CREATE TRIGGER recall_endings_refuse_delete BEFORE DELETE ON recall_endings
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_endings is refused'); END;
