DROP TABLE journal_head;
DROP TABLE journal;
