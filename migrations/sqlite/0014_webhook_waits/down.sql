ALTER TABLE webhook_attempts DROP COLUMN wait_ms;
