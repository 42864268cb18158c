-- The coordinator's answers to findings, and what was done at each box. Both are
-- kept like cards are: no derivation writes here, and nothing that stands here is
-- rewritten. A row only ever gains the words "not any more": undone_at and
-- withdrawn_at, once. Who changes an answer undoes the old one and gives another.
--
-- This migration makes derived rows stale: findings gain two columns that only a
-- derivation can fill, and clocks are read in a new way. Every site is therefore
-- marked in the table stale; opening the network derives the marked sites again
-- and takes the marks off, each in one transaction (see store/stale.go). A later
-- migration that makes derived rows stale marks its sites in the same way.

-- +goose Up

CREATE TABLE stale (
	site INTEGER NOT NULL PRIMARY KEY REFERENCES site (id)
) STRICT;

INSERT INTO stale (site)
SELECT id
FROM site;

-- finding is the key of a finding, which is the same in every derivation. There
-- is no reference to the table of findings: an answer outlives its question,
-- which may come back with the next card.
CREATE TABLE ruling (
	id        INTEGER PRIMARY KEY,
	site      INTEGER NOT NULL REFERENCES site (id),
	finding   TEXT    NOT NULL,
	answer    TEXT    NOT NULL,
	said_by   TEXT    NOT NULL,              -- '' where nobody signed
	said_at   INTEGER NOT NULL,
	why       TEXT    NOT NULL,
	undone_by TEXT,
	undone_at INTEGER,                       -- NULL: it stands
	CHECK ((undone_by IS NULL) = (undone_at IS NULL))
) STRICT;

-- At most one answer to a question stands.
CREATE UNIQUE INDEX ruling_stands ON ruling (site, finding) WHERE undone_at IS NULL;

-- reading is wall seconds: what the logger's clock showed at the true instant at.
CREATE TABLE service_call (
	id           INTEGER PRIMARY KEY,
	site         INTEGER NOT NULL REFERENCES site (id),
	at           INTEGER NOT NULL,
	error_s      INTEGER NOT NULL CHECK (error_s >= 0),
	kinds        TEXT    NOT NULL CHECK (json_valid(kinds)),
	reading      INTEGER,
	books_in     INTEGER,
	books_now    INTEGER,
	note         TEXT    NOT NULL,
	made_at      INTEGER NOT NULL,
	instead_of   INTEGER REFERENCES service_call (id), -- the call that this one corrects
	withdrawn_at INTEGER                     -- NULL: it stands
) STRICT;

CREATE INDEX service_call_site ON service_call (site, at);

ALTER TABLE finding ADD COLUMN changes TEXT NOT NULL DEFAULT '';

ALTER TABLE finding ADD COLUMN choices TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(choices));
