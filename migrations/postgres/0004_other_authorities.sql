-- A site may have limits of its own: they name their agent, and stand under the site.
ALTER TABLE exposure_limit ADD COLUMN agent_code TEXT COLLATE "C";
CREATE INDEX exposure_limit_agent ON exposure_limit (agent_code, known_to);

-- Clauses of authorities other than the law that comes with the program.
CREATE TABLE authority_clause (
    id UUID NOT NULL,
    known_from BIGINT NOT NULL,
    known_to BIGINT NOT NULL,
    revision BIGINT NOT NULL,
    site_id UUID,
    parent_id UUID,
    voided TEXT COLLATE "C",
    body TEXT COLLATE "C" NOT NULL,
    code TEXT COLLATE "C" NOT NULL,
    agent_code TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (id, known_from)
);
CREATE UNIQUE INDEX authority_clause_current ON authority_clause (id) WHERE known_to = 9223372036854775807;
CREATE INDEX authority_clause_parent ON authority_clause (parent_id, known_to);
CREATE INDEX authority_clause_agent ON authority_clause (agent_code, known_to);
CREATE UNIQUE INDEX authority_clause_natural ON authority_clause (code) WHERE known_to = 9223372036854775807;
