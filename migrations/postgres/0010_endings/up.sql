-- A recall that was closed may be withdrawn after all: it ends once each way.
-- closed: all accounted for; what is left stays on hold, but for a drill, which frees it. withdrawn: it was no recall after
-- all, and nothing is held any more.
ALTER TABLE recall_endings DROP CONSTRAINT recall_endings_recall_id_key;
ALTER TABLE recall_endings ADD UNIQUE (recall_id, way);
