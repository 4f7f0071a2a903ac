-- Requests for a worker's records: each with its duty to answer.
CREATE TABLE record_request (
    id UUID NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT NOT NULL,
    revision BIGINT NOT NULL,
    site_id UUID,
    parent_id UUID,
    voided TEXT COLLATE "C",
    body TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (id, known_from)
);
CREATE UNIQUE INDEX record_request_current ON record_request (id) WHERE known_to = 9223372036854775807;
CREATE INDEX record_request_parent ON record_request (parent_id, known_to);
