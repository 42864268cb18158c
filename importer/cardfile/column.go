package cardfile

import "bytes"

// column is what a survey saw in one column.
type column struct {
	seen      [shapes]int
	filled    int
	small     int // numbers from 0 to 7
	bits      int // numbers 0 and 1
	flips     int // numbers 0 and 1 that differ from the row before
	unix      int // numbers that are Unix seconds of 1998 to 2103
	millis    int // the same in milliseconds
	numbers   int
	faults    int // numbers that a chip gives which does not answer
	six       int // numbers of six digits that are hhmmss
	clocks    int // dates written with full stops that could be h.mm.ss
	steps     int // numbers that are one more than in the line before
	neighbour int // numbers whose line before was seen too
	last      int64
	lastLine  int
	secs      int // times with seconds
	unpadded  int
	marked    int // times with AM or PM
	head      string
}

const (
	unixFrom = 900_000_000
	unixTo   = 4_200_000_000
)

func (c *column) add(line int, f []byte) {
	var d digits
	s := shapeOf(f, &d)
	c.seen[s]++
	if s != shapeEmpty {
		c.filled++
	}
	switch s {
	case shapeNumber:
		v, _ := decimal(f)
		c.number(line, v, onlyDigits(f))
		if len(f) == 6 && v/10000 < 24 && v/100%100 < 60 && v%100 < 60 {
			c.six++
		}
	case shapeDate:
		if bytes.IndexByte(f, '.') >= 0 && d.a < 24 && d.b < 60 && d.c < 60 {
			c.clocks++
		}
	case shapeTime, shapeStamp:
		if d.secs {
			c.secs++
		}
		if !d.padded {
			c.unpadded++
		}
		if d.marked {
			c.marked++
		}
	}
}

func (c *column) number(line int, v int64, whole bool) {
	if v == 165 || v == 85 { // 0xFF read as BCD says nothing of the column
		c.faults++
	}
	if c.numbers > 0 && c.lastLine == line-1 {
		c.neighbour++
		if v == c.last+1 {
			c.steps++
		}
	}
	if v <= 1 && whole {
		c.bits++
		if c.numbers > 0 && v != c.last {
			c.flips++
		}
	}
	if v <= 7 && whole {
		c.small++
	}
	if v >= unixFrom && v <= unixTo {
		c.unix++
	}
	if v >= unixFrom*1000 && v <= unixTo*1000 {
		c.millis++
	}
	c.numbers++
	c.last, c.lastLine = v, line
}

// mostly reports whether n is more than six tenths of the filled fields.
func (c *column) mostly(n int) bool { return n*10 > c.filled*6 }

func (c *column) shape() shape {
	for s := shapeText; s < shapes; s++ {
		if c.mostly(c.seen[s]) {
			return s
		}
	}
	return shapeText
}
