-- How many days before its last day a lot of an item is told of, where that is not as usual.

ALTER TABLE item_versions ADD COLUMN warn_days INTEGER CHECK (warn_days >= 0);
