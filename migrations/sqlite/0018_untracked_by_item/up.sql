-- Exports narrowed to an item that is kept without lots find the batches it went into.
CREATE INDEX untracked_inputs_by_item ON untracked_inputs (item_id, batch_id);
