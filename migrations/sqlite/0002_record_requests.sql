-- Requests for a worker's records: each with its duty to answer.
CREATE TABLE record_request (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX record_request_current ON record_request (id) WHERE known_to = 9223372036854775807;
CREATE INDEX record_request_parent ON record_request (parent_id, known_to);
