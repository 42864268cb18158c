-- Who may do what, and who did it.
--
-- A passphrase stands here only as its Argon2id hash with the parameters that
-- made it; a session only as the SHA-256 of its token, so that a copy of the
-- file signs nobody in. Neither is among what two networks share when they are
-- merged. The journal only ever grows: the triggers refuse to change or drop a
-- line, also by a mistake of a later version.

-- +goose Up

CREATE TABLE passphrase (
	role   TEXT    NOT NULL PRIMARY KEY CHECK (role IN ('reading', 'reports', 'coordinating')),
	hash   TEXT    NOT NULL,                 -- $argon2id$v=19$m=…,t=…,p=…$salt$hash, both base64
	set_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE access_setting (
	only         INTEGER NOT NULL PRIMARY KEY CHECK (only = 1),
	reading_open INTEGER NOT NULL CHECK (reading_open IN (0, 1)) -- 1: everybody may read
) STRICT;

INSERT INTO access_setting (only, reading_open) VALUES (1, 0);

CREATE TABLE session (
	id       INTEGER PRIMARY KEY AUTOINCREMENT, -- never used twice: a form may name it late
	token    BLOB    NOT NULL UNIQUE,
	role     TEXT    NOT NULL,
	who      TEXT    NOT NULL,
	begun_at INTEGER NOT NULL,
	seen_at  INTEGER NOT NULL
) STRICT;

CREATE TABLE journal (
	id      INTEGER PRIMARY KEY AUTOINCREMENT,
	at      INTEGER NOT NULL,
	role    TEXT    NOT NULL,                -- 'command line', 'at the machine', or a role
	who     TEXT    NOT NULL,                -- name given at sign-in; '' where nobody said
	kind    TEXT    NOT NULL,                -- see store/journal.go
	site    TEXT    NOT NULL,                -- code of the site as it was then; '' for the network
	subject TEXT    NOT NULL,                -- id or key of what was changed; ''
	says    TEXT    NOT NULL
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER journal_stays BEFORE UPDATE ON journal
BEGIN
	SELECT RAISE(ABORT, 'a line of the journal is never changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER journal_grows BEFORE DELETE ON journal
BEGIN
	SELECT RAISE(ABORT, 'a line of the journal is never dropped');
END;
-- +goose StatementEnd
