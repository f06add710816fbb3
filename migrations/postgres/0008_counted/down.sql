DROP INDEX balances_counted;
