-- Holds that keep records whatever their age, and disposals.
CREATE TABLE legal_hold (
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
CREATE UNIQUE INDEX legal_hold_current ON legal_hold (id) WHERE known_to = 9223372036854775807;

CREATE TABLE disposal (
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
CREATE UNIQUE INDEX disposal_current ON disposal (id) WHERE known_to = 9223372036854775807;
