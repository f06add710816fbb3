CREATE TABLE balances_in_rows (
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    state TEXT NOT NULL,
    mass_mg BIGINT NOT NULL,
    PRIMARY KEY (lot_id, site_id, state),
    CHECK (state IN ('available', 'open', 'in_transit', 'supplier', 'production', 'served', 'consigned', 'discarded', 'count_difference')),
    CHECK (mass_mg >= 0 OR state IN ('supplier', 'production', 'count_difference'))
);
INSERT INTO balances_in_rows (lot_id, site_id, state, mass_mg)
SELECT lot_id, site_id, state, mass_mg FROM balances ORDER BY lot_id, site_id, state;
DROP TABLE balances;
ALTER TABLE balances_in_rows RENAME TO balances;

CREATE INDEX balances_on_hand ON balances (site_id, state, lot_id)
WHERE mass_mg > 0 AND state IN ('available', 'open', 'in_transit');
CREATE INDEX balances_counted ON balances (lot_id) WHERE state = 'count_difference';
