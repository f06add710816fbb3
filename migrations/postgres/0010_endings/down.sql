ALTER TABLE recall_endings DROP CONSTRAINT recall_endings_recall_id_way_key;
ALTER TABLE recall_endings ADD UNIQUE (recall_id);
