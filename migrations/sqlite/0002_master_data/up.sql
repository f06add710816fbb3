-- Master data: an identity that never changes, and one row a version; the highest version is in force.
CREATE TABLE sites (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE
);

CREATE TABLE site_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('kitchen', 'shop', 'store_room', 'vehicle')),
    time_zone TEXT NOT NULL,
    gln TEXT,
    active BOOLEAN NOT NULL,
    UNIQUE (site_id, version)
);

CREATE TABLE partners (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE
);

CREATE TABLE partner_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    partner_id BIGINT NOT NULL REFERENCES partners (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    supplies BOOLEAN NOT NULL,
    takes_tubs BOOLEAN NOT NULL,
    contact TEXT,
    active BOOLEAN NOT NULL,
    UNIQUE (partner_id, version)
);

CREATE TABLE items (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL CHECK (kind IN ('ingredient', 'base', 'component', 'flavour'))
);

-- density_g_per_m3 is set for items counted by volume or by strength; strength is % vol as written by the person.
CREATE TABLE item_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    counted_by TEXT NOT NULL CHECK (counted_by IN ('mass', 'volume', 'piece', 'strength')),
    density_g_per_m3 BIGINT,
    piece_mg BIGINT,
    strength TEXT,
    tracked BOOLEAN NOT NULL,
    kept TEXT NOT NULL CHECK (kept IN ('ambient', 'chilled', 'milk_or_shell_eggs', 'frozen')),
    warmest_arrival_tenths INTEGER,
    portion_mg BIGINT,
    shelf_life_days INTEGER,
    active BOOLEAN NOT NULL,
    UNIQUE (item_id, version)
);

-- The newest row of an item at a site counts.
CREATE TABLE reorder_levels (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    site_id BIGINT NOT NULL REFERENCES sites (id),
    level_mg BIGINT NOT NULL CHECK (level_mg >= 0)
);

CREATE TABLE recipes (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE,
    item_id BIGINT NOT NULL REFERENCES items (id)
);

CREATE TABLE recipe_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recipe_id BIGINT NOT NULL REFERENCES recipes (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    expected_yield_mg BIGINT NOT NULL CHECK (expected_yield_mg > 0),
    maturing_minutes INTEGER NOT NULL CHECK (maturing_minutes >= 0),
    method TEXT,
    active BOOLEAN NOT NULL,
    UNIQUE (recipe_id, version)
);

CREATE TABLE recipe_lines (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    recipe_version_id BIGINT NOT NULL REFERENCES recipe_versions (id),
    line INTEGER NOT NULL,
    item_id BIGINT NOT NULL REFERENCES items (id),
    mass_mg BIGINT NOT NULL CHECK (mass_mg > 0),
    UNIQUE (recipe_version_id, line)
);

CREATE TABLE equipment (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT NOT NULL UNIQUE
);

-- touches: item kinds it comes into contact with, comma-separated.
CREATE TABLE equipment_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    equipment_id BIGINT NOT NULL REFERENCES equipment (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    touches TEXT NOT NULL,
    active BOOLEAN NOT NULL,
    UNIQUE (equipment_id, version)
);

-- Facts only grow.
CREATE TRIGGER sites_refuse_update BEFORE UPDATE ON sites
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on sites is refused'); END;
CREATE TRIGGER sites_refuse_delete BEFORE DELETE ON sites
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on sites is refused'); END;
CREATE TRIGGER site_versions_refuse_update BEFORE UPDATE ON site_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on site_versions is refused'); END;
CREATE TRIGGER site_versions_refuse_delete BEFORE DELETE ON site_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on site_versions is refused'); END;
CREATE TRIGGER partners_refuse_update BEFORE UPDATE ON partners
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on partners is refused'); END;
CREATE TRIGGER partners_refuse_delete BEFORE DELETE ON partners
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on partners is refused'); END;
CREATE TRIGGER partner_versions_refuse_update BEFORE UPDATE ON partner_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on partner_versions is refused'); END;
CREATE TRIGGER partner_versions_refuse_delete BEFORE DELETE ON partner_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on partner_versions is refused'); END;
CREATE TRIGGER items_refuse_update BEFORE UPDATE ON items
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on items is refused'); END;
CREATE TRIGGER items_refuse_delete BEFORE DELETE ON items
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on items is refused'); END;
CREATE TRIGGER item_versions_refuse_update BEFORE UPDATE ON item_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on item_versions is refused'); END;
CREATE TRIGGER item_versions_refuse_delete BEFORE DELETE ON item_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on item_versions is refused'); END;
CREATE TRIGGER reorder_levels_refuse_update BEFORE UPDATE ON reorder_levels
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on reorder_levels is refused'); END;
CREATE TRIGGER reorder_levels_refuse_delete BEFORE DELETE ON reorder_levels
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on reorder_levels is refused'); END;
CREATE TRIGGER recipes_refuse_update BEFORE UPDATE ON recipes
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recipes is refused'); END;
CREATE TRIGGER recipes_refuse_delete BEFORE DELETE ON recipes
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recipes is refused'); END;
CREATE TRIGGER recipe_versions_refuse_update BEFORE UPDATE ON recipe_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recipe_versions is refused'); END;
CREATE TRIGGER recipe_versions_refuse_delete BEFORE DELETE ON recipe_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recipe_versions is refused'); END;
CREATE TRIGGER recipe_lines_refuse_update BEFORE UPDATE ON recipe_lines
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on recipe_lines is refused'); END;
CREATE TRIGGER recipe_lines_refuse_delete BEFORE DELETE ON recipe_lines
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on recipe_lines is refused'); END;
CREATE TRIGGER equipment_refuse_update BEFORE UPDATE ON equipment
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on equipment is refused'); END;
CREATE TRIGGER equipment_refuse_delete BEFORE DELETE ON equipment
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on equipment is refused'); END;
CREATE TRIGGER equipment_versions_refuse_update BEFORE UPDATE ON equipment_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on equipment_versions is refused'); END;
CREATE TRIGGER equipment_versions_refuse_delete BEFORE DELETE ON equipment_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on equipment_versions is refused'); END;
