-- How long is waited until something is sent again: differs by chance, and follows what the other side asks for.

ALTER TABLE webhook_attempts ADD COLUMN wait_ms INTEGER CHECK (wait_ms >= 0);
