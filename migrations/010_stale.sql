-- Coverage now begins when a card was put in, clocks are read with more care, and
-- rows whose neighbours contradict each other have wider brackets. So every site is
-- derived again.

-- +goose Up

INSERT OR IGNORE INTO stale (site)
SELECT id
FROM site;
