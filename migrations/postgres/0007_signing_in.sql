-- Signing in: sessions, second factors, one-time codes, devices that were used before, attempts that failed.
-- None of it is a fact: it stands in no journal, and of secrets only digests are kept (but for the second factor's,
-- from which the codes are computed).
CREATE TABLE session (
    digest BYTEA NOT NULL PRIMARY KEY,
    id UUID NOT NULL UNIQUE,
    account_id UUID NOT NULL,
    account_revision BIGINT NOT NULL,
    whole BIGINT NOT NULL,
    client TEXT COLLATE "C" NOT NULL,
    began_at TIMESTAMPTZ NOT NULL,
    seen_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX session_account ON session (account_id);
CREATE TABLE second_factor (
    account_id UUID NOT NULL PRIMARY KEY,
    secret BYTEA NOT NULL,
    confirmed_at TIMESTAMPTZ,
    last_step BIGINT NOT NULL
);
CREATE TABLE sign_in_code (
    digest BYTEA NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    opens TEXT COLLATE "C" NOT NULL,
    expires_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX sign_in_code_account ON sign_in_code (account_id);
CREATE TABLE known_device (
    digest BYTEA NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    seen_at TIMESTAMPTZ NOT NULL
);
CREATE INDEX known_device_account ON known_device (account_id);
CREATE TABLE failed_attempt (
    counted_on TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    failures BIGINT NOT NULL,
    last_at TIMESTAMPTZ NOT NULL
);
