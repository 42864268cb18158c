package store

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"math"

	"doorleaf/usage"
)

// blockSize is the number of openings in a block, the last one of a site
// excepted.
const blockSize = 512

// blockHead is what is stored of a block beside its body.
type blockHead struct {
	low, high int64 // every instant of its openings: At of timed, the whole bracket of untimed ones
	count     int64
	digest    [16]byte // of the encoded openings and what stands above
}

// A block is encoded column by column, since neighbours in a column are alike:
// times grow by hours, lines by one, and most other columns hardly change. Each
// column is what remains after a guess from the opening before:
//
//	flags     timed, removal, class
//	at        difference to the last timed opening; absent for untimed ones
//	error     difference
//	earliest  timed: difference to At − ErrorS; untimed: to the last untimed one's
//	latest    likewise, At + ErrorS
//	open      seconds + 1
//	visit     0 for none, else 1 + difference to the last visit
//	run       difference
//	card      index in the block's own list of cards, which names them by id
//	line      difference − 1
//	offset    difference to the end of the line before
//	length    difference
//
// A column of equal values is one byte and the value. All are varints,
// zigzag where they may be negative. Blocks do not lean on each other, and a
// card's index in the logbook does not appear: so a block stays as it is when
// openings come after it or the cards are numbered otherwise.
const blockVersion = 1

const (
	flagTimed   = 1
	flagRemoval = 2
	classShift  = 2
)

// The columns of a block, in the order in which they are written.
const (
	colFlags = iota
	colAt
	colError
	colEarliest
	colLatest
	colOpen
	colVisit
	colRun
	colCard
	colLine
	colOffset
	colLength
	columns
)

// guess predicts an opening from those before it in the block. Encoder and
// decoder keep the same one.
type guess struct {
	at, earliest, latest int64
	errorS               int32
	visit, run           int32
	line                 int32
	end                  int64 // offset after the line before
	length               int32
}

func (g *guess) after(o *usage.Opening) {
	if o.Timed {
		g.at = o.At
	} else {
		g.earliest, g.latest = o.Earliest, o.Latest
	}
	if o.Visit != usage.Unknown {
		g.visit = o.Visit
	}
	g.errorS, g.run, g.line, g.length = o.ErrorS, o.Run, o.Line, o.Length
	g.end = o.Offset + int64(o.Length)
}

// bracket returns what Earliest and Latest of o are expected to be.
func (g *guess) bracket(o *usage.Opening) (earliest, latest int64) {
	if o.Timed {
		return o.At - int64(o.ErrorS), o.At + int64(o.ErrorS)
	}
	return g.earliest, g.latest
}

// blockEncoder encodes blocks of one logbook. Its buffers serve block after block.
type blockEncoder struct {
	cards  []usage.CardRef
	cols   [columns][blockSize]uint64
	locals map[int32]int // index in the logbook → in the block's list
	plain  []byte
}

func newBlockEncoder(cards []usage.CardRef) *blockEncoder {
	return &blockEncoder{cards: cards, locals: map[int32]int{}}
}

// encode leaves the encoded openings, at most blockSize, in e.plain. At of an
// untimed opening means nothing and is not encoded.
func (e *blockEncoder) encode(openings []usage.Opening) (blockHead, error) {
	clear(e.locals)
	e.plain = append(e.plain[:0], blockVersion)
	head := blockHead{low: math.MaxInt64, high: math.MinInt64, count: int64(len(openings))}
	var names []byte
	var g guess
	for i := range openings {
		o := &openings[i]
		local, known := e.locals[o.Card]
		if !known {
			name, err := cardName(e.cards, o.Card)
			if err != nil {
				return head, err
			}
			local = len(e.locals)
			e.locals[o.Card] = local
			names = append(names, name...)
		}
		e.fill(i, o, &g, uint64(local))
		g.after(o)
		low, high := span(o)
		head.low, head.high = min(head.low, low), max(head.high, high)
	}
	e.plain = binary.AppendUvarint(e.plain, uint64(len(e.locals)))
	e.plain = append(e.plain, names...)
	for c := range e.cols {
		e.plain = appendColumn(e.plain, e.cols[c][:len(openings)])
	}
	head.digest = e.digest(head)
	return head, nil
}

// fill sets row i of all columns.
func (e *blockEncoder) fill(i int, o *usage.Opening, g *guess, card uint64) {
	flags := uint64(o.Class) << classShift
	at := int64(0)
	if o.Timed {
		flags |= flagTimed
		at = o.At - g.at
	}
	if o.Removal {
		flags |= flagRemoval
	}
	visit := uint64(0)
	if o.Visit != usage.Unknown {
		visit = 1 + zigzag(int64(o.Visit)-int64(g.visit))
	}
	earliest, latest := g.bracket(o)
	e.cols[colFlags][i] = flags
	e.cols[colAt][i] = zigzag(at)
	e.cols[colError][i] = zigzag(int64(o.ErrorS) - int64(g.errorS))
	e.cols[colEarliest][i] = zigzag(o.Earliest - earliest)
	e.cols[colLatest][i] = zigzag(o.Latest - latest)
	e.cols[colOpen][i] = uint64(uint32(o.OpenS + 1))
	e.cols[colVisit][i] = visit
	e.cols[colRun][i] = zigzag(int64(o.Run) - int64(g.run))
	e.cols[colCard][i] = card
	e.cols[colLine][i] = zigzag(int64(o.Line) - int64(g.line) - 1)
	e.cols[colOffset][i] = zigzag(o.Offset - g.end)
	e.cols[colLength][i] = zigzag(int64(o.Length) - int64(g.length))
}

func (e *blockEncoder) digest(head blockHead) [16]byte {
	h := sha256.New()
	var b [24]byte
	binary.LittleEndian.PutUint64(b[0:], uint64(head.low))
	binary.LittleEndian.PutUint64(b[8:], uint64(head.high))
	binary.LittleEndian.PutUint64(b[16:], uint64(head.count))
	h.Write(b[:])
	h.Write(e.plain)
	return [16]byte(h.Sum(nil))
}

// span returns the instants between which the opening happened, as far as
// searching by date goes: an untimed one is found by its whole bracket.
func span(o *usage.Opening) (low, high int64) {
	if o.Timed {
		return o.At, o.At
	}
	return o.Earliest, o.Latest
}

func cardName(cards []usage.CardRef, i int32) ([]byte, error) {
	if i < 0 || int(i) >= len(cards) {
		return nil, fmt.Errorf("there is no card %d in the logbook", i)
	}
	name, err := hex.DecodeString(cards[i].ID)
	if err != nil || len(name) != sha256.Size {
		return nil, fmt.Errorf("card id %q is no SHA-256", cards[i].ID)
	}
	return name, nil
}

// appendColumn writes a column: 0 and the value where all are equal, else 1 and
// every value.
func appendColumn(out []byte, col []uint64) []byte {
	if allEqual(col) {
		return binary.AppendUvarint(append(out, 0), col[0])
	}
	out = append(out, 1)
	for _, v := range col {
		out = binary.AppendUvarint(out, v)
	}
	return out
}

func allEqual(col []uint64) bool {
	for _, v := range col[1:] {
		if v != col[0] {
			return false
		}
	}
	return true
}

func zigzag(v int64) uint64 { return uint64(v)<<1 ^ uint64(v>>63) }

func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

var errBlock = errors.New("block of openings is damaged")

// block is a decoded block. Card of its openings is an index into cards.
type block struct {
	openings []usage.Opening
	cards    []string
}

// decodeBlock undoes encode.
func decodeBlock(plain []byte, count int) (block, error) {
	if len(plain) == 0 || plain[0] != blockVersion || count < 1 || count > blockSize {
		return block{}, errBlock
	}
	var b block
	rest := plain[1:]
	named, n := binary.Uvarint(rest)
	if n <= 0 || named > blockSize || uint64(len(rest)-n) < named*sha256.Size {
		return block{}, errBlock
	}
	rest = rest[n:]
	for range named {
		b.cards = append(b.cards, hex.EncodeToString(rest[:sha256.Size]))
		rest = rest[sha256.Size:]
	}
	var cols [columns][blockSize]uint64
	for c := range cols {
		var err error
		if rest, err = readColumn(rest, cols[c][:count]); err != nil {
			return block{}, err
		}
	}
	b.openings = make([]usage.Opening, count)
	var g guess
	for i := range b.openings {
		o := &b.openings[i]
		*o = openingAt(&cols, i, &g)
		if cols[colCard][i] >= named {
			return block{}, errBlock
		}
		g.after(o)
	}
	return b, nil
}

func openingAt(cols *[columns][blockSize]uint64, i int, g *guess) usage.Opening {
	flags := cols[colFlags][i]
	o := usage.Opening{
		ErrorS:  g.errorS + int32(unzigzag(cols[colError][i])),
		OpenS:   int32(uint32(cols[colOpen][i])) - 1,
		Visit:   usage.Unknown,
		Run:     g.run + int32(unzigzag(cols[colRun][i])),
		Card:    int32(cols[colCard][i]),
		Line:    g.line + int32(unzigzag(cols[colLine][i])) + 1,
		Offset:  g.end + unzigzag(cols[colOffset][i]),
		Length:  g.length + int32(unzigzag(cols[colLength][i])),
		Timed:   flags&flagTimed != 0,
		Removal: flags&flagRemoval != 0,
		Class:   usage.Class(flags >> classShift),
	}
	if o.Timed {
		o.At = g.at + unzigzag(cols[colAt][i])
	}
	if v := cols[colVisit][i]; v != 0 {
		o.Visit = g.visit + int32(unzigzag(v-1))
	}
	earliest, latest := g.bracket(&o)
	o.Earliest = earliest + unzigzag(cols[colEarliest][i])
	o.Latest = latest + unzigzag(cols[colLatest][i])
	return o
}

func readColumn(b []byte, col []uint64) ([]byte, error) {
	if len(b) == 0 || b[0] > 1 {
		return nil, errBlock
	}
	equal := b[0] == 0
	b = b[1:]
	for i := range col {
		if equal && i > 0 {
			col[i] = col[0]
			continue
		}
		v, n := binary.Uvarint(b)
		if n <= 0 {
			return nil, errBlock
		}
		col[i], b = v, b[n:]
	}
	return b, nil
}
