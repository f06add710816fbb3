-- A temperature that was not as it was written down.

CREATE TABLE reading_voids (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    reading_id BIGINT NOT NULL UNIQUE REFERENCES readings (id),
    reason TEXT NOT NULL
);

-- Facts only grow.
CREATE TRIGGER reading_voids_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON reading_voids
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
