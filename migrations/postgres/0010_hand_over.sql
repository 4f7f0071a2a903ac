-- Records that pass from one employer to another, and where a journal that was taken over leaves something out.
CREATE TABLE hand_over (
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
CREATE UNIQUE INDEX hand_over_current ON hand_over (id) WHERE known_to = 9223372036854775807;
CREATE INDEX hand_over_site ON hand_over (site_id, known_to);

CREATE TABLE taken_over (
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
CREATE UNIQUE INDEX taken_over_current ON taken_over (id) WHERE known_to = 9223372036854775807;

CREATE TABLE journal_gap (
    position BIGINT NOT NULL,
    ordinal BIGINT NOT NULL,
    PRIMARY KEY (position, ordinal)
);
