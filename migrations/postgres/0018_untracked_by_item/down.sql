DROP INDEX untracked_inputs_by_item;
