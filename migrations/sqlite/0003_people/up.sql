-- Who may come in: people with a password, devices with a token; both kept only as hashes.
CREATE TABLE users (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    login TEXT NOT NULL UNIQUE
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
    code TEXT NOT NULL UNIQUE,
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
CREATE TRIGGER users_refuse_update BEFORE UPDATE ON users
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on users is refused'); END;
CREATE TRIGGER users_refuse_delete BEFORE DELETE ON users
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on users is refused'); END;
CREATE TRIGGER user_versions_refuse_update BEFORE UPDATE ON user_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on user_versions is refused'); END;
CREATE TRIGGER user_versions_refuse_delete BEFORE DELETE ON user_versions
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on user_versions is refused'); END;
CREATE TRIGGER user_roles_refuse_update BEFORE UPDATE ON user_roles
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on user_roles is refused'); END;
CREATE TRIGGER user_roles_refuse_delete BEFORE DELETE ON user_roles
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on user_roles is refused'); END;
CREATE TRIGGER devices_refuse_update BEFORE UPDATE ON devices
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on devices is refused'); END;
CREATE TRIGGER devices_refuse_delete BEFORE DELETE ON devices
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on devices is refused'); END;
CREATE TRIGGER device_revocations_refuse_update BEFORE UPDATE ON device_revocations
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on device_revocations is refused'); END;
CREATE TRIGGER device_revocations_refuse_delete BEFORE DELETE ON device_revocations
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on device_revocations is refused'); END;
CREATE TRIGGER login_attempts_refuse_update BEFORE UPDATE ON login_attempts
BEGIN SELECT RAISE(ABORT, 'facts only grow: UPDATE on login_attempts is refused'); END;
CREATE TRIGGER login_attempts_refuse_delete BEFORE DELETE ON login_attempts
BEGIN SELECT RAISE(ABORT, 'facts only grow: DELETE on login_attempts is refused'); END;
