-- Whether a card's removal was given to the second. Most people write a time without
-- seconds, which a clock cut off; one that has them is taken as it is, also where they
-- are 00. Cards kept before this was asked keep what they were taken for.

-- +goose Up

ALTER TABLE card ADD COLUMN removed_exact INTEGER NOT NULL DEFAULT 0 CHECK (removed_exact IN (0, 1));
