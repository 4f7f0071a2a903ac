-- Files as they were uploaded: what they gave, as a fact of its own, and their bytes, once for each digest.
CREATE TABLE original_file (
    id UUID NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT NOT NULL,
    revision BIGINT NOT NULL,
    site_id UUID,
    parent_id UUID,
    voided TEXT COLLATE "C",
    body TEXT COLLATE "C" NOT NULL,
    sha256 TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (id, known_from)
);
CREATE UNIQUE INDEX original_file_current ON original_file (id) WHERE known_to = 9223372036854775807;
CREATE INDEX original_file_parent ON original_file (parent_id, known_to);
CREATE INDEX original_file_sha256 ON original_file (sha256, known_to);
CREATE INDEX original_file_site ON original_file (site_id, id, known_to);

CREATE TABLE original_bytes (
    digest BYTEA PRIMARY KEY,
    bytes BYTEA NOT NULL
);
