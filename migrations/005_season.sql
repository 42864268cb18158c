-- What a season's figures need beside the days: how long the door stood open a
-- visit, and the openings whose time is not known. Both are derived, and kept
-- apart from the openings so that a season of many sites reads none of them.
--
-- This migration makes derived rows stale, as every site gains rows here.

-- +goose Up

-- A month is one row with the bins of its histogram packed in a blob: see
-- store/season.go.
CREATE TABLE month_open (
	site  INTEGER NOT NULL REFERENCES site (id),
	month INTEGER NOT NULL,                  -- 12·year + (month − 1)
	bins  BLOB    NOT NULL,
	PRIMARY KEY (site, month)
) STRICT, WITHOUT ROWID;

-- Untimed openings by the bracket that they lie in.
CREATE TABLE bracket (
	site     INTEGER NOT NULL REFERENCES site (id),
	number   INTEGER NOT NULL,
	from_at  INTEGER NOT NULL,
	to_at    INTEGER NOT NULL,
	openings INTEGER NOT NULL,
	visits   INTEGER NOT NULL,
	PRIMARY KEY (site, number)
) STRICT, WITHOUT ROWID;

INSERT OR IGNORE INTO stale (site)
SELECT id
FROM site;
