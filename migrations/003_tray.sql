-- The tray: card files that were uploaded and shown, but that nobody has said
-- yes to. They are neither kept nor derived, and go after a day.

-- +goose Up

CREATE TABLE tray (
	name      TEXT    NOT NULL PRIMARY KEY,  -- random: who knows it may keep its cards
	filled_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE tray_card (
	id     INTEGER PRIMARY KEY,
	tray   TEXT    NOT NULL REFERENCES tray (name) ON DELETE CASCADE,
	name   TEXT    NOT NULL,
	folder TEXT    NOT NULL,
	tag    TEXT    NOT NULL,
	body   BLOB    NOT NULL                  -- zstd
) STRICT;

CREATE INDEX tray_card_tray ON tray_card (tray);
