-- The lot graph: lots, what they came from (a delivery line or a batch), and the uses that tie them together.
CREATE TABLE deliveries (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    supplier_id BIGINT NOT NULL REFERENCES partners (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    document TEXT NOT NULL,
    arrived_at TIMESTAMP NOT NULL,
    note TEXT
);
CREATE INDEX deliveries_by_document ON deliveries (supplier_id, document);

CREATE TABLE batches (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recipe_version_id BIGINT NOT NULL REFERENCES recipe_versions (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    started_at TIMESTAMP NOT NULL,
    note TEXT
);
CREATE INDEX batches_by_entry ON batches (entry);
CREATE INDEX batches_by_site ON batches (site_id, started_at);

-- ids are dense and have a sequence of their own: the graph in memory is indexed by them.
CREATE TABLE lots (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    day DATE NOT NULL,
    serial INTEGER NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    kind TEXT NOT NULL CHECK (kind IN ('received', 'base', 'component', 'tub', 'remainder', 'rework')),
    supplier_id BIGINT REFERENCES partners (id),
    -- Compared byte by byte, as SQLite does, so that a range finds a prefix.
    supplier_lot_code TEXT COLLATE "C",
    delivery_id BIGINT REFERENCES deliveries (id),
    batch_id BIGINT REFERENCES batches (id),
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    came_to_be_at TIMESTAMP NOT NULL,
    mature_at TIMESTAMP,
    expires_on DATE,
    expiry_kind TEXT CHECK (expiry_kind IN ('best_before', 'use_by')),
    UNIQUE (day, serial),
    CHECK ((kind = 'received') = (batch_id IS NULL)),
    CHECK ((kind = 'received') = (supplier_id IS NOT NULL))
);
CREATE INDEX lots_by_entry ON lots (entry);
CREATE INDEX lots_by_supplier_lot_code ON lots (supplier_lot_code);
CREATE INDEX lots_by_supplier ON lots (supplier_id, id);
CREATE INDEX lots_by_item ON lots (item_id, id);
CREATE INDEX lots_by_batch ON lots (batch_id);
CREATE INDEX lots_by_delivery ON lots (delivery_id);

-- temperature_tenths: tenths of a degree Celsius. A rejected line has no lot.
CREATE TABLE delivery_lines (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    delivery_id BIGINT NOT NULL REFERENCES deliveries (id),
    line INTEGER NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    supplier_lot_code TEXT NOT NULL,
    entered_amount TEXT NOT NULL,
    entered_unit TEXT NOT NULL,
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    expires_on DATE,
    expiry_kind TEXT CHECK (expiry_kind IN ('best_before', 'use_by')),
    temperature_tenths INTEGER,
    decision TEXT NOT NULL CHECK (decision IN ('accepted', 'put_aside', 'rejected')),
    reason TEXT,
    lot_id BIGINT REFERENCES lots (id),
    UNIQUE (delivery_id, line),
    CHECK ((decision = 'rejected') = (lot_id IS NULL))
);

CREATE TABLE uses (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    entered_amount TEXT NOT NULL,
    entered_unit TEXT NOT NULL,
    used_at TIMESTAMP NOT NULL,
    in_recipe BOOLEAN NOT NULL,
    override_reason TEXT
);
CREATE INDEX uses_by_entry ON uses (entry);
CREATE INDEX uses_by_batch ON uses (batch_id);
CREATE INDEX uses_by_lot ON uses (lot_id);

CREATE TABLE use_voids (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    use_id BIGINT NOT NULL UNIQUE REFERENCES uses (id),
    reason TEXT NOT NULL
);
CREATE INDEX use_voids_by_entry ON use_voids (entry);

-- Water and the like: weighed in, but kept without lots.
CREATE TABLE untracked_inputs (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    item_id BIGINT NOT NULL REFERENCES items (id),
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    entered_amount TEXT NOT NULL,
    entered_unit TEXT NOT NULL,
    reason TEXT
);
CREATE INDEX untracked_inputs_by_entry ON untracked_inputs (entry);
CREATE INDEX untracked_inputs_by_batch ON untracked_inputs (batch_id);

CREATE TABLE batch_equipment (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    equipment_id BIGINT NOT NULL REFERENCES equipment (id),
    used_from TIMESTAMP NOT NULL,
    used_until TIMESTAMP
);
CREATE INDEX batch_equipment_by_batch ON batch_equipment (batch_id);

CREATE TABLE readings (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    batch_id BIGINT NOT NULL REFERENCES batches (id),
    step TEXT NOT NULL CHECK (step IN ('heating', 'cooling', 'maturing', 'churning', 'hardening')),
    celsius_tenths INTEGER NOT NULL,
    held_seconds INTEGER,
    taken_at TIMESTAMP NOT NULL
);
CREATE INDEX readings_by_batch ON readings (batch_id);

CREATE TABLE completions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    batch_id BIGINT NOT NULL UNIQUE REFERENCES batches (id),
    completed_at TIMESTAMP NOT NULL,
    in_mg BIGINT NOT NULL,
    out_mg BIGINT NOT NULL CHECK (out_mg <= in_mg),
    note TEXT
);

-- Facts only grow.
CREATE TRIGGER deliveries_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON deliveries
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER batches_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON batches
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER lots_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON lots
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER delivery_lines_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON delivery_lines
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER uses_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON uses
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER use_voids_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON use_voids
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER untracked_inputs_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON untracked_inputs
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER batch_equipment_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON batch_equipment
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER readings_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON readings
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER completions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON completions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
