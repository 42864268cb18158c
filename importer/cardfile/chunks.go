package cardfile

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// chunkLines is how many lines are read by one processor at a time. It does not depend
// on how many processors there are, and so neither does what is read.
const chunkLines = 1 << 15

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
// line i; its Line is 0 where the line is none. A weekday word is by its number among
// the words of its chunk.
type tried struct {
	rows  []Row
	words []weekdayWords // by chunk
	known [][]uint8      // by chunk and word: its number among the words of the file; or nought
}

// try reads all lines that can be read by themselves. Dates with the month in words are
// rewritten first, which is left to line.
func (rd *reader) try() tried {
	t := tried{rows: make([]Row, len(rd.lines))}
	if rd.months != nil {
		return t
	}
	chunks := (len(rd.lines) + chunkLines - 1) / chunkLines
	t.words, t.known = make([]weekdayWords, chunks), make([][]uint8, chunks)
	inChunks(len(rd.lines), chunkLines, func(chunk, from, to int) {
		p := *newParser(rd.layout)
		for i := from; i < to; i++ {
			s := rd.lines[i]
			if r := (Row{}); !s.cluster && p.strict(rd.text.buf[s.off:s.off+s.len], &r) {
				r.Line = int32(i + 1)
				t.rows[i] = r
			}
		}
		t.words[chunk], t.known[chunk] = p.words, make([]uint8, len(p.words.raw)+1)
	})
	return t
}

// take returns the row of line i, with its weekday word by its number among those of
// the file.
func (t *tried) take(i int, p *parser) (r Row, ok bool) {
	r = t.rows[i]
	if r.Line == 0 || r.Weekday == 0 || p.numbered {
		return r, r.Line != 0
	}
	known := &t.known[i/chunkLines][r.Weekday]
	if *known != 0 {
		p.words.count[*known-1]++
	} else {
		*known = p.words.index([]byte(t.words[i/chunkLines].raw[r.Weekday-1]))
	}
	r.Weekday = *known
	return r, true
}
