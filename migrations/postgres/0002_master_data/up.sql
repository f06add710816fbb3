-- Master data: an identity that never changes, and one row a version; the highest version is in force.
CREATE TABLE sites (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT COLLATE "C" NOT NULL UNIQUE
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
    code TEXT COLLATE "C" NOT NULL UNIQUE
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
    code TEXT COLLATE "C" NOT NULL UNIQUE,
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
    code TEXT COLLATE "C" NOT NULL UNIQUE,
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
    code TEXT COLLATE "C" NOT NULL UNIQUE
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
CREATE TRIGGER sites_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON sites
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER site_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON site_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER partners_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON partners
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER partner_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON partner_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER items_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON items
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER item_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON item_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER reorder_levels_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON reorder_levels
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER recipes_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON recipes
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER recipe_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON recipe_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER recipe_lines_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON recipe_lines
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER equipment_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON equipment
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER equipment_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON equipment_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
