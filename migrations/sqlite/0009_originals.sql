-- Files as they were uploaded: what they gave, as a fact of its own, and their bytes, once for each digest.
CREATE TABLE original_file (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX original_file_current ON original_file (id) WHERE known_to = 9223372036854775807;
CREATE INDEX original_file_parent ON original_file (parent_id, known_to);
CREATE INDEX original_file_sha256 ON original_file (sha256, known_to);
CREATE INDEX original_file_site ON original_file (site_id, id, known_to);

CREATE TABLE original_bytes (
    digest BLOB PRIMARY KEY CHECK (length(digest) = 32),
    bytes BLOB NOT NULL
) STRICT;
