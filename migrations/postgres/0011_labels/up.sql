-- What labels say besides what was made: who makes it, what things are called and how they are kept; the printers, what was
-- printed, and what became of it there.

CREATE TABLE makers (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE
);

-- address: lines, a line end between two. link_stem: where the links in our codes begin; null: where GS1's own do.
CREATE TABLE maker_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    maker_id BIGINT NOT NULL REFERENCES makers (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    address TEXT NOT NULL,
    jurisdiction TEXT NOT NULL CHECK (jurisdiction IN ('eu', 'us', 'ca')),
    link_stem TEXT,
    active BOOLEAN NOT NULL,
    UNIQUE (maker_id, version)
);

-- code: that of the item.
CREATE TABLE item_labels (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE,
    item_id BIGINT NOT NULL UNIQUE REFERENCES items (id)
);

-- made_of: of what is bought; listed: its supplier's list, a line end between two.
CREATE TABLE item_label_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    item_label_id BIGINT NOT NULL REFERENCES item_labels (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    made_of TEXT NOT NULL CHECK (made_of IN ('single', 'listed', 'not_known', 'what_went_in')),
    listed TEXT,
    shown TEXT CHECK (shown IN ('dispersed', 'in_brackets')),
    sugars_based BOOLEAN NOT NULL,
    percent_shown BOOLEAN NOT NULL,
    storage TEXT,
    opened_days INTEGER CHECK (opened_days BETWEEN 1 AND 3650),
    largest_surface_cm2 INTEGER CHECK (largest_surface_cm2 > 0),
    UNIQUE (item_label_id, version),
    CHECK ((made_of = 'listed') = (listed IS NOT NULL))
);

CREATE TABLE printers (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE
);

CREATE TABLE printer_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    printer_id BIGINT NOT NULL REFERENCES printers (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    uri TEXT NOT NULL,
    size TEXT NOT NULL,
    dpi INTEGER NOT NULL,
    any_certificate BOOLEAN NOT NULL,
    active BOOLEAN NOT NULL,
    UNIQUE (printer_id, version)
);

-- number: which print of the lot it is, from 1. printer_id: null where the caller draws it. words: what the label said, as JSON.
CREATE TABLE label_prints (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    number INTEGER NOT NULL CHECK (number > 0),
    size TEXT NOT NULL,
    dpi INTEGER NOT NULL,
    copies INTEGER NOT NULL CHECK (copies > 0),
    printer_id BIGINT REFERENCES printers (id),
    override_reason TEXT,
    reprint_reason TEXT,
    words TEXT NOT NULL,
    UNIQUE (lot_id, number),
    CHECK (number = 1 OR reprint_reason IS NOT NULL)
);

CREATE INDEX label_prints_by_entry ON label_prints (entry);
CREATE INDEX label_prints_by_printer ON label_prints (printer_id, id);

-- What became of a print at its printer: the newest step is its state. process: which process has it in hand.
CREATE TABLE print_steps (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    print_id BIGINT NOT NULL REFERENCES label_prints (id),
    state TEXT NOT NULL CHECK (state IN
        ('queued', 'waiting', 'sending', 'sent', 'printed', 'refused', 'uncertain', 'cancelled')),
    happened_at TIMESTAMP NOT NULL,
    process TEXT,
    printer_job INTEGER,
    said TEXT,
    CHECK ((state = 'sending') = (process IS NOT NULL))
);

CREATE INDEX print_steps_by_entry ON print_steps (entry);
CREATE INDEX print_steps_by_print ON print_steps (print_id, id);

-- Facts only grow.
CREATE TRIGGER makers_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON makers
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER maker_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON maker_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER item_labels_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON item_labels
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER item_label_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON item_label_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER printers_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON printers
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER printer_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON printer_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER label_prints_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON label_prints
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER print_steps_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON print_steps
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
