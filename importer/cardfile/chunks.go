package cardfile

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// chunkLines is how many lines are read by one processor at a time. It does not depend
// on how many processors there are, and so neither does what is read.
const chunkLines = 1 << 14

// inChunks calls work for each stretch of size of n items, on all processors.
func inChunks(n, size int, work func(chunk, from, to int)) {
	chunks := (n + size - 1) / size
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), chunks) {
		wg.Go(func() {
			for c := int(next.Add(1)) - 1; c < chunks; c = int(next.Add(1)) - 1 {
				work(c, c*size, min(n, (c+1)*size))
			}
		})
	}
	wg.Wait()
}

// tried are the lines of a file read as rows of its layout, side by side. Row i is of
// line i; its Line is 0 where the line is none.
type tried struct {
	rows   []Row
	chunks []triedChunk // none where no line can be read by itself
}

// triedChunk is what is known of chunkLines lines together.
type triedChunk struct {
	whole  bool         // each line is a row
	events bool         // some row is one end of an opening
	words  weekdayWords // rows have their weekday words by their numbers here
	known  []uint8      // by word: its number among the words of the file; or nought
}

// try reads all lines that can be read by themselves. Dates with the month in words are
// rewritten first, which is left to line.
func (rd *reader) try() tried {
	t := tried{rows: make([]Row, len(rd.lines))}
	if rd.months != nil {
		return t
	}
	t.chunks = make([]triedChunk, (len(rd.lines)+chunkLines-1)/chunkLines)
	inChunks(len(rd.lines), chunkLines, func(chunk, from, to int) {
		c := triedChunk{whole: true}
		p := *newParser(rd.layout)
		for i := from; i < to; i++ {
			s, r := rd.lines[i], &t.rows[i]
			if !p.strict(rd.text.buf[s.off:s.off+s.len], r) {
				*r, c.whole = Row{}, false
				continue
			}
			r.Line, r.Length, r.Offset = int32(i+1), int32(s.len), rd.text.bom+int64(s.off)
			c.events = c.events || r.Event != Whole
		}
		c.words, c.known = p.words, make([]uint8, len(p.words.raw)+1)
		t.chunks[chunk] = c
	})
	return t
}

// all takes the rows of a chunk whose every line is one, if it is such a chunk.
func (t *tried) all(chunk int, rd *reader) bool {
	if chunk >= len(t.chunks) || !t.chunks[chunk].whole || !rd.text.asIs() {
		return false
	}
	c := &t.chunks[chunk]
	rows := t.rows[chunk*chunkLines : min(len(t.rows), (chunk+1)*chunkLines)]
	same := true
	for i, word := range c.words.raw {
		c.known[i+1] = rd.words.indexMany([]byte(word), c.words.count[i])
		same = same && int(c.known[i+1]) == i+1
	}
	for i := range rows {
		if same || rd.numbered {
			break
		}
		rows[i].Weekday = c.known[rows[i].Weekday]
	}
	if n := len(rd.file.Rows); n == chunk*chunkLines { // they stand where they are to stand
		rd.file.Rows = rd.file.Rows[:n+len(rows)]
	} else {
		rd.file.Rows = append(rd.file.Rows, rows...)
	}
	rd.started, rd.events = true, rd.events || c.events
	return true
}

// take returns the row of line i, with its weekday word by its number among those of
// the file.
func (t *tried) take(i int, p *parser) (r Row, ok bool) {
	r = t.rows[i]
	if r.Line == 0 || r.Weekday == 0 || p.numbered {
		return r, r.Line != 0
	}
	c := &t.chunks[i/chunkLines]
	known := &c.known[r.Weekday]
	if *known != 0 {
		p.words.count[*known-1]++
	} else {
		*known = p.words.indexMany([]byte(c.words.raw[r.Weekday-1]), 1)
	}
	r.Weekday = *known
	return r, true
}
