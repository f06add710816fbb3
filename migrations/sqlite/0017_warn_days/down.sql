ALTER TABLE item_versions DROP COLUMN warn_days;
