-- A temperature that was not as it was written down.

CREATE TABLE reading_voids (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    reading_id BIGINT NOT NULL UNIQUE REFERENCES readings (id),
    reason TEXT NOT NULL
);

-- Facts only grow.
CREATE TRIGGER reading_voids_refuse_update BEFORE UPDATE ON reading_voids
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on reading_voids is refused'); END;
CREATE TRIGGER reading_voids_refuse_delete BEFORE DELETE ON reading_voids
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on reading_voids is refused'); END;
