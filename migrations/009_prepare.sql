-- How the cards of a site are prepared: the files that its logger wants on a card,
-- and the cards that were prepared. A setting (usage.CardSetting as JSON, since it is
-- only ever read whole) is kept like a power setting is: never rewritten; whoever
-- changes it ends the one that stands and gives another.
--
-- A prepared card says which moment its clock-set file names, so that the volunteer
-- who logs the service call need not type it again. Nothing that is derived hangs on
-- either: a clock set counts when a service call says so.

-- +goose Up

CREATE TABLE card_setting (
	id       INTEGER PRIMARY KEY,
	site     INTEGER NOT NULL REFERENCES site (id),
	body     TEXT    NOT NULL CHECK (json_valid(body)),
	said_at  INTEGER NOT NULL,
	ended_at INTEGER                          -- NULL: it stands
) STRICT;

-- At most one setting of a site stands.
CREATE UNIQUE INDEX card_setting_stands ON card_setting (site) WHERE ended_at IS NULL;

-- reading is wall seconds: the digits in the clock-set file, for the true instant at.
CREATE TABLE prepared_card (
	id      INTEGER PRIMARY KEY,
	site    INTEGER NOT NULL REFERENCES site (id),
	at      INTEGER NOT NULL,
	reading INTEGER NOT NULL,
	made_at INTEGER NOT NULL
) STRICT;

CREATE INDEX prepared_card_site ON prepared_card (site, made_at);
