DROP TABLE gtin_withdrawals;
DROP TABLE recall_reaches;
DROP TABLE webhook_attempts;
DROP TABLE webhook_tests;
DROP TABLE webhook_switches;
DROP TABLE webhook_secrets;
DROP TABLE webhooks;
