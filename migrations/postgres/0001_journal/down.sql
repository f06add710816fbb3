DROP TABLE journal_head;
DROP TABLE journal;
DROP FUNCTION refuse_change();
