-- Where every milligram is: movements between places, and the balances they add up to.
CREATE TABLE transfers (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    from_site_id BIGINT NOT NULL REFERENCES sites (id),
    to_site_id BIGINT NOT NULL REFERENCES sites (id),
    dispatched_at TIMESTAMP NOT NULL,
    note TEXT,
    CHECK (from_site_id <> to_site_id)
);

CREATE TABLE transfer_lines (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    transfer_id BIGINT NOT NULL REFERENCES transfers (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    UNIQUE (transfer_id, lot_id)
);

CREATE TABLE receipts (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    transfer_id BIGINT NOT NULL UNIQUE REFERENCES transfers (id),
    received_at TIMESTAMP NOT NULL,
    note TEXT
);

CREATE TABLE receipt_lines (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    receipt_id BIGINT NOT NULL REFERENCES receipts (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    sent_mg BIGINT NOT NULL CHECK (sent_mg >= 0),
    received_mg BIGINT NOT NULL CHECK (received_mg >= 0),
    damaged_mg BIGINT NOT NULL CHECK (damaged_mg >= 0),
    reason TEXT,
    UNIQUE (receipt_id, lot_id)
);

CREATE TABLE counts (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    counted_at TIMESTAMP NOT NULL,
    note TEXT
);

CREATE TABLE count_lines (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    count_id BIGINT NOT NULL REFERENCES counts (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    state TEXT NOT NULL CHECK (state IN ('available', 'open')),
    expected_mg BIGINT NOT NULL,
    found_mg BIGINT NOT NULL CHECK (found_mg >= 0),
    reason TEXT
);

CREATE TABLE movements (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    kind TEXT NOT NULL,
    from_site_id BIGINT NOT NULL REFERENCES sites (id),
    from_state TEXT NOT NULL,
    to_site_id BIGINT NOT NULL REFERENCES sites (id),
    to_state TEXT NOT NULL,
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    occurred_at TIMESTAMP NOT NULL,
    reason TEXT,
    use_id BIGINT REFERENCES uses (id),
    transfer_id BIGINT REFERENCES transfers (id),
    count_id BIGINT REFERENCES counts (id),
    partner_id BIGINT REFERENCES partners (id),
    document TEXT
);
CREATE INDEX movements_by_lot ON movements (lot_id, id);
CREATE INDEX movements_by_entry ON movements (entry);

-- Changed in place: the sum of the movements by lot and place. What lies inside the house and in the sinks is never
-- negative; suppliers, production and count differences give and take.
CREATE TABLE balances (
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    state TEXT NOT NULL,
    mass_mg BIGINT NOT NULL,
    PRIMARY KEY (lot_id, site_id, state),
    CHECK (state IN ('available', 'open', 'in_transit', 'supplier', 'production', 'served', 'consigned', 'discarded', 'count_difference')),
    CHECK (mass_mg >= 0 OR state IN ('supplier', 'production', 'count_difference'))
);
CREATE INDEX balances_on_hand ON balances (site_id, state, lot_id)
WHERE mass_mg > 0 AND state IN ('available', 'open', 'in_transit');

CREATE TABLE holds (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    reason TEXT NOT NULL
);
CREATE INDEX holds_by_lot ON holds (lot_id);

CREATE TABLE hold_releases (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    hold_id BIGINT NOT NULL UNIQUE REFERENCES holds (id),
    reason TEXT NOT NULL
);

-- A received lot sent back, or written off before use: it may never be used again.
CREATE TABLE lot_rejections (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    lot_id BIGINT NOT NULL UNIQUE REFERENCES lots (id),
    reason TEXT NOT NULL
);

-- Facts only grow.
CREATE TRIGGER transfers_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON transfers
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER transfer_lines_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON transfer_lines
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER receipts_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON receipts
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER receipt_lines_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON receipt_lines
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER counts_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON counts
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER count_lines_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON count_lines
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER movements_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON movements
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER holds_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON holds
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER hold_releases_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON hold_releases
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER lot_rejections_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON lot_rejections
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
