DROP TABLE document_pieces;
DROP TABLE delivery_documents;
