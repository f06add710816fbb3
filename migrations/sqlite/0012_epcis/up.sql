-- What the open records say of places and partners, and how what happened is found by its time.

ALTER TABLE site_versions ADD COLUMN address TEXT;
ALTER TABLE partner_versions ADD COLUMN gln TEXT;
ALTER TABLE partner_versions ADD COLUMN address TEXT;

CREATE INDEX item_gtins_by_item ON item_gtins (item_id);

CREATE INDEX deliveries_by_time ON deliveries (arrived_at, id);
CREATE INDEX completions_by_time ON completions (completed_at, id);
CREATE INDEX transfers_by_time ON transfers (dispatched_at, id);
CREATE INDEX receipts_by_time ON receipts (received_at, id);
CREATE INDEX counts_by_time ON counts (counted_at, id);
CREATE INDEX count_lines_by_count ON count_lines (count_id);
CREATE INDEX count_lines_by_lot ON count_lines (lot_id);

-- What left for good, besides what was served: few of all movements.
CREATE INDEX movements_gone ON movements (occurred_at, id) WHERE to_state IN ('consigned', 'discarded', 'supplier');
