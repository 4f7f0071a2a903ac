-- A site may have limits of its own: they name their agent, and stand under the site.
ALTER TABLE exposure_limit ADD COLUMN agent_code TEXT;
CREATE INDEX exposure_limit_agent ON exposure_limit (agent_code, known_to);

-- Clauses of authorities other than the law that comes with the program.
CREATE TABLE authority_clause (
    id BLOB NOT NULL CHECK (length(id) = 16),
    known_from INTEGER NOT NULL,
    known_to INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    site_id BLOB,
    parent_id BLOB,
    voided TEXT,
    body TEXT NOT NULL,
    code TEXT NOT NULL,
    agent_code TEXT NOT NULL,
    PRIMARY KEY (id, known_from)
) STRICT;
CREATE UNIQUE INDEX authority_clause_current ON authority_clause (id) WHERE known_to = 9223372036854775807;
CREATE INDEX authority_clause_parent ON authority_clause (parent_id, known_to);
CREATE INDEX authority_clause_agent ON authority_clause (agent_code, known_to);
CREATE UNIQUE INDEX authority_clause_natural ON authority_clause (code) WHERE known_to = 9223372036854775807;
