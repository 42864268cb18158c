// Package migrations carries the numbered SQL files that bring a network's
// database up to date. It holds no code: package store runs them.
package migrations

import "embed"

// Files holds the migrations, NNN_noun.sql, in the form that goose reads. A
// file that was released is never edited; a change is a new file.
//
//go:embed *.sql
var Files embed.FS
