-- The lots of which counts or receipts found or missed something: few, and asked for whenever a server starts.
CREATE INDEX balances_counted ON balances (lot_id) WHERE state = 'count_difference';
