DROP TABLE login_attempts;
DROP TABLE device_revocations;
DROP TABLE devices;
DROP TABLE user_roles;
DROP TABLE user_versions;
DROP TABLE users;
