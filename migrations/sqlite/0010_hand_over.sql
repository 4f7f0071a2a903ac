-- Records that pass from one employer to another, and where a journal that was taken over leaves something out.
CREATE TABLE hand_over (
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
CREATE UNIQUE INDEX hand_over_current ON hand_over (id) WHERE known_to = 9223372036854775807;
CREATE INDEX hand_over_site ON hand_over (site_id, known_to);

CREATE TABLE taken_over (
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
CREATE UNIQUE INDEX taken_over_current ON taken_over (id) WHERE known_to = 9223372036854775807;

CREATE TABLE journal_gap (
    position INTEGER NOT NULL,
    ordinal INTEGER NOT NULL,
    PRIMARY KEY (position, ordinal)
) STRICT;
