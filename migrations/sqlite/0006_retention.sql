-- Holds that keep records whatever their age, and disposals.
CREATE TABLE legal_hold (
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
CREATE UNIQUE INDEX legal_hold_current ON legal_hold (id) WHERE known_to = 9223372036854775807;

CREATE TABLE disposal (
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
CREATE UNIQUE INDEX disposal_current ON disposal (id) WHERE known_to = 9223372036854775807;
