-- Work that people have begun on a page and not sent yet: it survives a closed browser, and no browser keeps it. It is no
-- fact: it stands in no journal, only its own account sees it, and it goes when it is sent, dropped or thirty days old.
CREATE TABLE draft (
    account_id UUID NOT NULL,
    site_id UUID NOT NULL,
    what TEXT COLLATE "C" NOT NULL,
    body TEXT COLLATE "C" NOT NULL,
    kept_at TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (account_id, site_id, what)
);
