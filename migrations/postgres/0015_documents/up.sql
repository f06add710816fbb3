-- Photos and papers that came with a delivery.

-- size_bytes, sha256 (hex): of the file as it was sent. width, height: of a picture, in dots.
CREATE TABLE delivery_documents (
    id BIGINT NOT NULL PRIMARY KEY,
    entry BIGINT NOT NULL,
    delivery_id BIGINT NOT NULL REFERENCES deliveries (id),
    name TEXT NOT NULL,
    media_type TEXT NOT NULL,
    size_bytes BIGINT NOT NULL CHECK (size_bytes > 0),
    width INTEGER CHECK (width > 0),
    height INTEGER CHECK (height > 0),
    sha256 TEXT NOT NULL
);

CREATE INDEX delivery_documents_by_entry ON delivery_documents (entry);
CREATE INDEX delivery_documents_by_delivery ON delivery_documents (delivery_id);

-- The file itself, in pieces, number from 1. No facts of their own: what they must be is said by the hash above, which is in the
-- journal. They lie in the database, and not beside it, so that one backup holds all.
CREATE TABLE document_pieces (
    document_id BIGINT NOT NULL REFERENCES delivery_documents (id),
    number INTEGER NOT NULL CHECK (number > 0),
    bytes BYTEA NOT NULL,
    PRIMARY KEY (document_id, number)
);

-- Facts only grow.
CREATE TRIGGER delivery_documents_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON delivery_documents
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
CREATE TRIGGER document_pieces_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON document_pieces
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
