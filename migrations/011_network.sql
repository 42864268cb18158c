-- What the network says of itself: its name, and how its pages write (usage.Network as
-- JSON, since it is only ever read whole). Kept like a power setting is: never
-- rewritten; whoever changes it ends the one that stands and gives another.
--
-- It belongs to this network and not to a site: a merge leaves it alone. Nothing that
-- is derived hangs on it.

-- +goose Up

CREATE TABLE network (
	id       INTEGER PRIMARY KEY,
	body     TEXT    NOT NULL CHECK (json_valid(body)),
	said_at  INTEGER NOT NULL,
	ended_at INTEGER                          -- NULL: it stands
) STRICT;

-- At most one setting stands.
CREATE UNIQUE INDEX network_stands ON network ((ended_at IS NULL)) WHERE ended_at IS NULL;
