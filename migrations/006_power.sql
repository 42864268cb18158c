-- What feeds a site's logger and what the logger draws: battery pack, profile of
-- draw, coin cell, counter memory (usage.PowerSetting as JSON, since it is only ever
-- read whole). Kept like rulings are: a setting is never rewritten. Whoever changes
-- it ends the one that stands and gives another; whoever takes it back ends it.
--
-- Nothing that is derived hangs on it: forecasts are worked out when they are asked
-- for, since they hang on the date too. So no site is stale.

-- +goose Up

CREATE TABLE power (
	id       INTEGER PRIMARY KEY,
	site     INTEGER NOT NULL REFERENCES site (id),
	body     TEXT    NOT NULL CHECK (json_valid(body)),
	said_at  INTEGER NOT NULL,
	ended_at INTEGER                          -- NULL: it stands
) STRICT;

-- At most one setting of a site stands.
CREATE UNIQUE INDEX power_stands ON power (site) WHERE ended_at IS NULL;
