-- Who may come in: people with a password, devices with a token; both kept only as hashes.
CREATE TABLE users (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    login TEXT COLLATE "C" NOT NULL UNIQUE
);

CREATE TABLE user_versions (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    user_id BIGINT NOT NULL REFERENCES users (id),
    version INTEGER NOT NULL,
    name TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    active BOOLEAN NOT NULL,
    UNIQUE (user_id, version)
);

-- site_id null: at every site.
CREATE TABLE user_roles (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    user_version_id BIGINT NOT NULL REFERENCES user_versions (id),
    role TEXT NOT NULL CHECK (role IN ('owner', 'kitchen', 'shop', 'inspector')),
    site_id BIGINT REFERENCES sites (id)
);

CREATE TABLE devices (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    code TEXT COLLATE "C" NOT NULL UNIQUE,
    name TEXT NOT NULL,
    site_id BIGINT NOT NULL REFERENCES sites (id),
    token_hash TEXT NOT NULL UNIQUE
);

CREATE TABLE device_revocations (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    device_id BIGINT NOT NULL UNIQUE REFERENCES devices (id),
    reason TEXT NOT NULL
);

CREATE TABLE login_attempts (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    user_id BIGINT NOT NULL REFERENCES users (id),
    attempted_at TIMESTAMP NOT NULL,
    succeeded BOOLEAN NOT NULL
);
CREATE INDEX login_attempts_by_user ON login_attempts (user_id, id);

-- Facts only grow.
CREATE TRIGGER users_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON users
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER user_versions_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON user_versions
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER user_roles_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON user_roles
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER devices_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON devices
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER device_revocations_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON device_revocations
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER login_attempts_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON login_attempts
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
