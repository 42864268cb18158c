-- What is derived from what is kept. Every row here belongs to one site and is
-- written only by the derivation of that site, in the transaction that changed
-- what is kept. Rows are compared before they are written, so the keys are
-- chosen to stay put when a logbook grows at its end.

-- +goose Up

-- Openings, 512 to a row, in logbook order: opening number 512·number + i is the
-- i-th of its row. One row for each opening would take several times the space, and
-- far longer to write, when a million of them are replaced. The range [low, high]
-- holds every instant at which one of the block's openings may have happened, so
-- that a page of one week reads one or two blocks. The digest is over the
-- encoded openings before compression: equal digest, nothing to write.
CREATE TABLE block (
	site   INTEGER NOT NULL REFERENCES site (id),
	number INTEGER NOT NULL,
	low    INTEGER NOT NULL,
	high   INTEGER NOT NULL,
	count  INTEGER NOT NULL,
	digest BLOB    NOT NULL,
	body   BLOB    NOT NULL,                 -- see store/block.go
	PRIMARY KEY (site, number)
) STRICT;

-- Block headers without their bodies: for skipping and for comparing.
CREATE INDEX block_header ON block (site, number, low, high, count, digest);

CREATE TABLE day (
	site       INTEGER NOT NULL REFERENCES site (id),
	date       INTEGER NOT NULL,
	openings   INTEGER NOT NULL,
	visits     INTEGER NOT NULL,
	open_s     INTEGER NOT NULL,
	unknown_s  INTEGER NOT NULL,
	dark       INTEGER NOT NULL,
	twilight   INTEGER NOT NULL,
	exposure_s INTEGER NOT NULL,
	PRIMARY KEY (site, date)
) STRICT, WITHOUT ROWID;

-- Hour-of-week cells are always read together, so a month is one row with 168
-- visits and 168 exposures packed in a blob: see store/day.go.
CREATE TABLE month (
	site  INTEGER NOT NULL REFERENCES site (id),
	month INTEGER NOT NULL,                  -- 12·year + (month − 1)
	cells BLOB    NOT NULL,
	PRIMARY KEY (site, month)
) STRICT;

CREATE TABLE stretch (
	site    INTEGER NOT NULL REFERENCES site (id),
	number  INTEGER NOT NULL,
	from_at INTEGER NOT NULL,
	to_at   INTEGER NOT NULL,
	kind    TEXT    NOT NULL,
	PRIMARY KEY (site, number)
) STRICT, WITHOUT ROWID;

-- A run is only ever read whole, and grows fields as the clock model grows.
CREATE TABLE run (
	site   INTEGER NOT NULL REFERENCES site (id),
	number INTEGER NOT NULL,
	body   TEXT    NOT NULL CHECK (json_valid(body)),
	PRIMARY KEY (site, number)
) STRICT, WITHOUT ROWID;

CREATE TABLE finding (
	site     INTEGER NOT NULL REFERENCES site (id),
	key      TEXT    NOT NULL,
	kind     TEXT    NOT NULL,
	from_at  INTEGER NOT NULL,
	to_at    INTEGER NOT NULL,
	says     TEXT    NOT NULL,
	evidence TEXT    NOT NULL CHECK (json_valid(evidence)),
	PRIMARY KEY (site, key)
) STRICT, WITHOUT ROWID;

-- Where in time a card's stretch of the logbook begins; orders the list of cards.
-- It goes with its card.
CREATE TABLE logbook_card (
	site     INTEGER NOT NULL REFERENCES site (id),
	card     TEXT    NOT NULL REFERENCES card (id) ON DELETE CASCADE,
	began_at INTEGER NOT NULL,
	PRIMARY KEY (site, card)
) STRICT, WITHOUT ROWID;

CREATE INDEX logbook_card_card ON logbook_card (card);

CREATE TABLE totals (
	site         INTEGER NOT NULL PRIMARY KEY REFERENCES site (id),
	openings     INTEGER NOT NULL,
	untimed      INTEGER NOT NULL,
	visits       INTEGER NOT NULL,
	visitor      INTEGER NOT NULL,
	service      INTEGER NOT NULL,
	rattle       INTEGER NOT NULL,
	ajar         INTEGER NOT NULL,
	open_s       INTEGER NOT NULL,
	unknown_s    INTEGER NOT NULL,
	exposure_s   INTEGER NOT NULL,
	first_at     INTEGER NOT NULL,
	last_at      INTEGER NOT NULL,
	last_card_at INTEGER                     -- last timed opening in logbook order
) STRICT;
