-- What is said to be in things, and what carries it from one batch to the next: statements, cleans, residues, how sites serve.

-- Of an item from a day on (of one supplier, or the maker's own where no supplier is named), or of a single lot. Words in lists
-- are comma-separated; figures are as written by the person.
CREATE TABLE statements (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    supplier_id BIGINT REFERENCES partners (id),
    lot_id BIGINT REFERENCES lots (id),
    in_force_from DATE,
    lists TEXT NOT NULL,
    contains TEXT NOT NULL,
    may_contain TEXT NOT NULL,
    sulphites_ppm TEXT,
    alcohol_percent_vol TEXT,
    document TEXT NOT NULL,
    note TEXT,
    corrects_id BIGINT UNIQUE REFERENCES statements (id),
    reason TEXT,
    CHECK ((lot_id IS NULL) = (in_force_from IS NOT NULL)),
    CHECK ((corrects_id IS NULL) = (reason IS NULL))
);

CREATE INDEX statements_by_entry ON statements (entry);
CREATE INDEX statements_by_item ON statements (item_id, id);
CREATE INDEX statements_by_lot ON statements (lot_id);

-- How much protein of a substance is in what a statement speaks of, as written: grams in a hundred.
CREATE TABLE statement_proteins (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    statement_id BIGINT NOT NULL REFERENCES statements (id),
    substance TEXT NOT NULL,
    percent TEXT NOT NULL,
    UNIQUE (statement_id, substance)
);

CREATE TABLE clean_kinds (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE
);

-- clears: 'everything', or comma-separated words; a rinse clears nothing.
CREATE TABLE clean_kind_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    clean_kind_id BIGINT NOT NULL REFERENCES clean_kinds (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    clears TEXT NOT NULL,
    active BOOLEAN NOT NULL,
    UNIQUE (clean_kind_id, version)
);

CREATE TABLE cleans (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    equipment_id BIGINT NOT NULL REFERENCES equipment (id),
    clean_kind_version_id BIGINT NOT NULL REFERENCES clean_kind_versions (id),
    cleaned_at TIMESTAMP NOT NULL,
    note TEXT
);

CREATE INDEX cleans_by_entry ON cleans (entry);
CREATE INDEX cleans_by_equipment ON cleans (equipment_id, cleaned_at);

CREATE TABLE clean_voids (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    clean_id BIGINT NOT NULL UNIQUE REFERENCES cleans (id),
    reason TEXT NOT NULL
);

CREATE INDEX clean_voids_by_entry ON clean_voids (entry);

-- A run on equipment that did not happen as written.
CREATE TABLE equipment_voids (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    batch_equipment_id BIGINT NOT NULL UNIQUE REFERENCES batch_equipment (id),
    reason TEXT NOT NULL
);

CREATE INDEX equipment_voids_by_entry ON equipment_voids (entry);
CREATE INDEX batch_equipment_by_entry ON batch_equipment (entry);
CREATE INDEX batch_equipment_by_equipment ON batch_equipment (equipment_id, used_from);

-- Of a site from a moment on: whether one scoop serves all that is open in its case.
CREATE TABLE serving_ways (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    since TIMESTAMP NOT NULL,
    shared_scoop BOOLEAN NOT NULL
);

CREATE INDEX serving_ways_by_site ON serving_ways (site_id, since);

-- How much of a batch stays behind: as measured of a piece of equipment, or what a site reckons with where nothing was measured.
CREATE TABLE residues (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    equipment_id BIGINT NOT NULL REFERENCES equipment (id),
    measured_at TIMESTAMP NOT NULL,
    mass_mg BIGINT NOT NULL CHECK (mass_mg >= 0),
    note TEXT
);

CREATE INDEX residues_by_equipment ON residues (equipment_id, measured_at);

CREATE TABLE carry_over_defaults (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    mass_mg BIGINT NOT NULL CHECK (mass_mg >= 0)
);

CREATE INDEX carry_over_defaults_by_site ON carry_over_defaults (site_id, id);

-- Which tubs stood open in a case together.
CREATE INDEX movements_from_open ON movements (from_site_id, occurred_at) WHERE from_state = 'open';

-- Facts only grow.
CREATE TRIGGER statements_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON statements
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER statement_proteins_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON statement_proteins
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER clean_kinds_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON clean_kinds
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER clean_kind_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON clean_kind_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER cleans_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON cleans
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER clean_voids_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON clean_voids
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER equipment_voids_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON equipment_voids
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER serving_ways_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON serving_ways
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER residues_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON residues
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER carry_over_defaults_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON carry_over_defaults
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
