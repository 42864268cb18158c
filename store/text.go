package store

import (
	"cmp"
	"container/list"
	"context"
	"database/sql"
	"fmt"
	"strings"
	"sync"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// textCacheBytes bounds the bytes of cards that are held decompressed for
// their raw lines.
const textCacheBytes = 64 << 20

// cardText is a card's bytes and how they are to be read.
type cardText struct {
	id       string
	bytes    []byte
	encoding string // as cardfile names it
}

// line returns a line of the card as text. Where it lies outside the card it
// is empty.
func (t cardText) line(offset int64, length int32) string {
	size := int64(len(t.bytes))
	if offset < 0 || length < 0 || offset > size || int64(length) > size-offset {
		return ""
	}
	return rawText(t.bytes[offset:offset+int64(length)], t.encoding)
}

// rawText returns bytes of a card file as valid UTF-8; what cannot be read
// becomes U+FFFD. The names of encodings are cardfile's.
func rawText(b []byte, encoding string) string {
	var text []byte
	var err error
	switch encoding {
	case "utf-16le":
		text, err = unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewDecoder().Bytes(b)
	case "utf-16be":
		text, err = unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewDecoder().Bytes(b)
	case "windows-1252":
		text, err = charmap.Windows1252.NewDecoder().Bytes(b)
	default:
		text = b
	}
	if err != nil || !utf8.Valid(text) {
		return strings.ToValidUTF8(string(text), "\uFFFD")
	}
	return string(text)
}

// textCache holds the bytes of the cards last asked for, up to a limit. A card
// larger than the limit is not held.
type textCache struct {
	mu    sync.Mutex
	limit int
	held  int
	order *list.List // of cardText, latest first
	byID  map[string]*list.Element
}

func newTextCache(limit int) *textCache {
	return &textCache{limit: limit, order: list.New(), byID: map[string]*list.Element{}}
}

func (c *textCache) get(id string) (cardText, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.byID[id]
	if !ok {
		return cardText{}, false
	}
	c.order.MoveToFront(e)
	return e.Value.(cardText), true
}

func (c *textCache) put(t cardText) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, there := c.byID[t.id]; there || len(t.bytes) > c.limit {
		return
	}
	c.byID[t.id] = c.order.PushFront(t)
	c.held += len(t.bytes)
	for c.held > c.limit {
		c.drop(c.order.Back())
	}
}

func (c *textCache) forget(id string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if e, ok := c.byID[id]; ok {
		c.drop(e)
	}
}

// drop expects c.mu to be held.
func (c *textCache) drop(e *list.Element) {
	t := c.order.Remove(e).(cardText)
	delete(c.byID, t.id)
	c.held -= len(t.bytes)
}

// fill sets Raw of openings. Each card is decompressed at most once a call,
// and not at all when it is held.
func (c *textCache) fill(ctx context.Context, q querier, found []OpeningRow) error {
	byCard := map[string][]int{}
	for i := range found {
		byCard[found[i].CardID] = append(byCard[found[i].CardID], i)
	}
	for id, places := range byCard {
		t, err := c.load(ctx, q, id)
		if err != nil {
			return err
		}
		for _, i := range places {
			found[i].Raw = t.line(found[i].Offset, found[i].Length)
		}
	}
	return nil
}

func (c *textCache) load(ctx context.Context, q querier, id string) (cardText, error) {
	if t, ok := c.get(id); ok {
		return t, nil
	}
	found, err := collect(ctx, q, func(rows *sql.Rows) (cardText, error) {
		t := cardText{id: id}
		var size int64
		var packed sql.RawBytes
		if err := rows.Scan(&t.encoding, &size, &packed); err != nil {
			return t, err
		}
		var err error
		if t.bytes, err = decompress(packed, size); err != nil || cardID(t.bytes) != id {
			return t, damagedCard(id, err)
		}
		return t, nil
	}, `
		SELECT encoding, size, body
		FROM card
		WHERE id = ?`, id)
	if err != nil || len(found) == 0 {
		return cardText{}, fmt.Errorf("read card %s: %w", id, cmp.Or(err, noCard(id)))
	}
	c.put(found[0])
	return found[0], nil
}
