-- Statements by which the key that signed announced the one that follows it, each signed with the key before.
CREATE TABLE key_announcement (
    place INTEGER PRIMARY KEY,
    statement TEXT NOT NULL
) STRICT;
