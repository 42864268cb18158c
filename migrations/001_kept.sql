-- What is kept: sites and the card files read off their loggers. Nothing here
-- can be worked out from anything else, so nothing here is ever rewritten by a
-- derivation.
--
-- Instants are Unix seconds (UTC) and dates are days since 1970-01-01, both as
-- integers: SQL can compare those, and they carry no zone to be mistaken.
-- Tables are STRICT so that a value of the wrong kind is an error here and not
-- a surprise later.

-- +goose Up

-- "Dlf1": tells a network from any other SQLite file before anything is
-- written to it. The same number stands in store/schema.go.
PRAGMA application_id = 0x446c6631;

-- A site is known by its code outside; inside it has a number, so that derived
-- rows stay small and a code can be corrected.
CREATE TABLE site (
	id           INTEGER PRIMARY KEY,
	code         TEXT    NOT NULL UNIQUE,
	name         TEXT    NOT NULL,
	latitude     REAL    NOT NULL,
	longitude    REAL    NOT NULL,
	zone         TEXT    NOT NULL,           -- IANA name
	installed_on INTEGER NOT NULL,           -- civil date of the site
	clock        TEXT    NOT NULL CHECK (clock IN ('fixed', 'civil', 'utc')),
	profile      TEXT    NOT NULL CHECK (json_valid(profile)),
	thresholds   TEXT    NOT NULL CHECK (json_valid(thresholds))
) STRICT;

-- The key is the SHA-256 of the bytes: the same file brought twice is the same
-- card, whatever it is called. It is unique in the network and not in the site,
-- since one card file cannot have come out of two boxes.
--
-- The facts (encoding … last_reading, sketch) are what the importer read in
-- the bytes. They are stored since a list of cards must not read every card;
-- a rebuild reads them again.
--
-- The blobs come last: SQLite then lists cards without touching them.
CREATE TABLE card (
	id            TEXT    NOT NULL PRIMARY KEY CHECK (length(id) = 64),
	site          INTEGER NOT NULL REFERENCES site (id),
	name          TEXT    NOT NULL,
	size          INTEGER NOT NULL,          -- bytes, not compressed
	imported_at   INTEGER NOT NULL,
	removed_at    INTEGER,                   -- true instant at which it came out; NULL unknown
	date_order    TEXT    NOT NULL CHECK (date_order IN ('', 'dmy', 'mdy', 'ymd')),
	encoding      TEXT    NOT NULL,
	file_order    TEXT,                      -- date order that the file itself tells; NULL it cannot
	lines         INTEGER NOT NULL,
	rows          INTEGER NOT NULL,
	complaints    INTEGER NOT NULL,
	first_reading INTEGER,                   -- wall seconds of the first and last row with a reading
	last_reading  INTEGER,
	sketch        BLOB    NOT NULL,          -- see store/sketch.go
	body          BLOB    NOT NULL           -- the bytes, zstd
) STRICT;

CREATE INDEX card_site ON card (site);
