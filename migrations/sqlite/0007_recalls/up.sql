-- Recalls: what they begin with, what was found of it where and by whom, who was told, and how they ended.

CREATE TABLE recalls (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    is_drill BOOLEAN NOT NULL,
    class INTEGER NOT NULL CHECK (class IN (1, 2, 3)),
    hazard TEXT NOT NULL,
    with_contact BOOLEAN NOT NULL,
    holds BOOLEAN NOT NULL,
    noticed_at TIMESTAMP NOT NULL,
    due_at TIMESTAMP NOT NULL,
    instructions TEXT,
    CHECK (holds OR is_drill)
);

CREATE INDEX recalls_by_entry ON recalls (entry);

-- kind: lot, supplier_lot (code_from), supplier_lot_prefix (code_from), supplier_lot_range, supplier_days, equipment, place.
CREATE TABLE recall_seeds (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL REFERENCES recalls (id),
    kind TEXT NOT NULL CHECK (kind IN ('lot', 'supplier_lot', 'supplier_lot_prefix', 'supplier_lot_range', 'supplier_days', 'equipment', 'place')),
    lot_id BIGINT REFERENCES lots (id),
    supplier_id BIGINT REFERENCES partners (id),
    item_id BIGINT REFERENCES items (id),
    code_from TEXT,
    code_until TEXT,
    day_from DATE,
    day_until DATE,
    equipment_id BIGINT REFERENCES equipment (id),
    site_id BIGINT REFERENCES sites (id),
    state TEXT,
    time_from TIMESTAMP,
    time_until TIMESTAMP
);

CREATE INDEX recall_seeds_by_recall ON recall_seeds (recall_id);

-- What a site found of a lot. confirmed_by is the name of the person, who need not be the one that typed it.
CREATE TABLE recall_confirmations (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL REFERENCES recalls (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    outcome TEXT NOT NULL CHECK (outcome IN ('found', 'destroyed', 'not_found', 'explained')),
    mass_mg BIGINT NOT NULL CHECK (mass_mg >= 0),
    confirmed_by TEXT NOT NULL,
    confirmed_at TIMESTAMP NOT NULL,
    note TEXT
);

CREATE INDEX recall_confirmations_by_recall ON recall_confirmations (recall_id, lot_id, site_id);

-- A consignee was told. way: how, in words.
CREATE TABLE recall_notices (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL REFERENCES recalls (id),
    partner_id BIGINT NOT NULL REFERENCES partners (id),
    way TEXT NOT NULL,
    told_by TEXT NOT NULL,
    told_at TIMESTAMP NOT NULL
);

CREATE INDEX recall_notices_by_recall ON recall_notices (recall_id, partner_id);

-- What a consignee answered of a lot it was given.
CREATE TABLE recall_replies (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL REFERENCES recalls (id),
    partner_id BIGINT NOT NULL REFERENCES partners (id),
    lot_id BIGINT NOT NULL REFERENCES lots (id),
    outcome TEXT NOT NULL CHECK (outcome IN ('found', 'destroyed', 'not_found', 'explained')),
    replied_by TEXT NOT NULL,
    replied_at TIMESTAMP NOT NULL,
    note TEXT
);

CREATE INDEX recall_replies_by_recall ON recall_replies (recall_id, partner_id, lot_id);

-- closed: all accounted for, and what is left stays on hold. withdrawn: it was no recall after all, and nothing is held any more.
CREATE TABLE recall_endings (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recall_id BIGINT NOT NULL UNIQUE REFERENCES recalls (id),
    way TEXT NOT NULL CHECK (way IN ('closed', 'withdrawn')),
    ended_by TEXT NOT NULL,
    reason TEXT NOT NULL
);

-- Which lots lay at a site at a time.
CREATE INDEX movements_from_site ON movements (from_site_id, occurred_at);
CREATE INDEX movements_to_site ON movements (to_site_id, occurred_at);

-- What a customer was handed.
CREATE INDEX movements_by_partner ON movements (partner_id) WHERE partner_id IS NOT NULL;

-- Facts only grow.
CREATE TRIGGER recalls_refuse_update BEFORE UPDATE ON recalls
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recalls is refused'); END;
CREATE TRIGGER recalls_refuse_delete BEFORE DELETE ON recalls
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recalls is refused'); END;
CREATE TRIGGER recall_seeds_refuse_update BEFORE UPDATE ON recall_seeds
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_seeds is refused'); END;
CREATE TRIGGER recall_seeds_refuse_delete BEFORE DELETE ON recall_seeds
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_seeds is refused'); END;
CREATE TRIGGER recall_confirmations_refuse_update BEFORE UPDATE ON recall_confirmations
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_confirmations is refused'); END;
CREATE TRIGGER recall_confirmations_refuse_delete BEFORE DELETE ON recall_confirmations
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_confirmations is refused'); END;
CREATE TRIGGER recall_notices_refuse_update BEFORE UPDATE ON recall_notices
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_notices is refused'); END;
CREATE TRIGGER recall_notices_refuse_delete BEFORE DELETE ON recall_notices
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_notices is refused'); END;
CREATE TRIGGER recall_replies_refuse_update BEFORE UPDATE ON recall_replies
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_replies is refused'); END;
CREATE TRIGGER recall_replies_refuse_delete BEFORE DELETE ON recall_replies
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_replies is refused'); END;
CREATE TRIGGER recall_endings_refuse_update BEFORE UPDATE ON recall_endings
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recall_endings is refused'); END;
CREATE TRIGGER recall_endings_refuse_delete BEFORE DELETE ON recall_endings
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recall_endings is refused'); END;
