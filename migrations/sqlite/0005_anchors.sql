-- Who looked at whom: from where and why, and a running digest over the lines. A line without a place was written by an
-- earlier release; the next start takes it in.
ALTER TABLE access_line ADD COLUMN client TEXT;
ALTER TABLE access_line ADD COLUMN purpose TEXT;
ALTER TABLE access_line ADD COLUMN place INTEGER;
ALTER TABLE access_line ADD COLUMN digest BLOB;
CREATE UNIQUE INDEX access_line_place ON access_line (place);
CREATE INDEX access_line_scope ON access_line (scope, id);
CREATE TABLE access_head (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    lines INTEGER NOT NULL,
    digest BLOB NOT NULL
) STRICT;
INSERT INTO access_head (one, lines, digest)
VALUES (1, 0, x'0000000000000000000000000000000000000000000000000000000000000000');

-- Keys that sign anchors. The private half stands here unless a setting gives it: beside the passwords, in no journal and
-- no export.
CREATE TABLE signing_key (
    fingerprint BLOB PRIMARY KEY,
    public_key BLOB NOT NULL,
    private_key BLOB,
    made_at TEXT NOT NULL
) STRICT;

-- What hides the medical chain in an anchor.
CREATE TABLE blinding_secret (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    secret BLOB NOT NULL
) STRICT;
