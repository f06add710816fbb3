DROP INDEX movements_to_site;
DROP INDEX movements_from_site;
DROP TABLE recall_endings;
DROP TABLE recall_replies;
DROP TABLE recall_notices;
DROP TABLE recall_confirmations;
DROP TABLE recall_seeds;
DROP TABLE recalls;
