-- Signing in: sessions, second factors, one-time codes, devices that were used before, attempts that failed.
-- None of it is a fact: it stands in no journal, and of secrets only digests are kept (but for the second factor's,
-- from which the codes are computed).
CREATE TABLE session (
    digest BLOB NOT NULL PRIMARY KEY,
    id BLOB NOT NULL UNIQUE CHECK (length(id) = 16),
    account_id BLOB NOT NULL,
    account_revision INTEGER NOT NULL,
    whole INTEGER NOT NULL,
    client TEXT NOT NULL,
    began_at TEXT NOT NULL,
    seen_at TEXT NOT NULL
) STRICT;
CREATE INDEX session_account ON session (account_id);
CREATE TABLE second_factor (
    account_id BLOB NOT NULL PRIMARY KEY,
    secret BLOB NOT NULL,
    confirmed_at TEXT,
    last_step INTEGER NOT NULL
) STRICT;
CREATE TABLE sign_in_code (
    digest BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    opens TEXT NOT NULL,
    expires_at TEXT NOT NULL
) STRICT;
CREATE INDEX sign_in_code_account ON sign_in_code (account_id);
CREATE TABLE known_device (
    digest BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    seen_at TEXT NOT NULL
) STRICT;
CREATE INDEX known_device_account ON known_device (account_id);
CREATE TABLE failed_attempt (
    counted_on TEXT NOT NULL PRIMARY KEY,
    failures INTEGER NOT NULL,
    last_at TEXT NOT NULL
) STRICT;
