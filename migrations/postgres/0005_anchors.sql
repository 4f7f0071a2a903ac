-- Who looked at whom: from where and why, and a running digest over the lines. A line without a place was written by an
-- earlier release; the next start takes it in.
ALTER TABLE access_line ADD COLUMN client TEXT COLLATE "C";
ALTER TABLE access_line ADD COLUMN purpose TEXT COLLATE "C";
ALTER TABLE access_line ADD COLUMN place BIGINT;
ALTER TABLE access_line ADD COLUMN digest BYTEA;
CREATE UNIQUE INDEX access_line_place ON access_line (place);
CREATE INDEX access_line_scope ON access_line (scope, id);
CREATE TABLE access_head (
    one BIGINT PRIMARY KEY CHECK (one = 1),
    lines BIGINT NOT NULL,
    digest BYTEA NOT NULL
);
INSERT INTO access_head (one, lines, digest)
VALUES (1, 0, '\x0000000000000000000000000000000000000000000000000000000000000000');

-- Keys that sign anchors. The private half stands here unless a setting gives it: beside the passwords, in no journal and
-- no export.
CREATE TABLE signing_key (
    fingerprint BYTEA PRIMARY KEY,
    public_key BYTEA NOT NULL,
    private_key BYTEA,
    made_at TIMESTAMPTZ NOT NULL
);

-- What hides the medical chain in an anchor.
CREATE TABLE blinding_secret (
    one BIGINT PRIMARY KEY CHECK (one = 1),
    secret BYTEA NOT NULL
);
