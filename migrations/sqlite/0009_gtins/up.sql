-- Which item the number under the bars of a package stands for, from a moment on; the newest counts.

CREATE TABLE item_gtins (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    gtin TEXT NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    supplier_id BIGINT REFERENCES partners (id),
    unit_mg BIGINT CHECK (unit_mg > 0),
    since TIMESTAMP NOT NULL,
    reason TEXT
);

CREATE INDEX item_gtins_by_entry ON item_gtins (entry);
CREATE INDEX item_gtins_by_gtin ON item_gtins (gtin, since);

-- Facts only grow.
CREATE TRIGGER item_gtins_refuse_update BEFORE UPDATE ON item_gtins
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on item_gtins is refused'); END;
CREATE TRIGGER item_gtins_refuse_delete BEFORE DELETE ON item_gtins
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on item_gtins is refused'); END;
