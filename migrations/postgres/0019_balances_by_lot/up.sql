-- SQLite keeps them by their key from here on. PostgreSQL keeps its rows where they were written.
COMMENT ON TABLE balances IS 'What each place holds of each lot, in milligrams: the sum of its movements.';
