package cardfile

import (
	"bytes"
	"encoding/binary"
	"sync/atomic"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// The encodings that Read tells apart.
const (
	encUTF8    = "utf-8"
	encUTF8BOM = "utf-8 bom"
	encUTF16LE = "utf-16le"
	encUTF16BE = "utf-16be"
	enc1252    = "windows-1252"
)

// erased is the byte of flash memory that was never written. It never occurs
// in UTF-8; decoding leaves it as it is, so that runs of it can be found.
const erased = 0xFF

// text is a card file as UTF-8, with what is needed to find the way back to
// the bytes of the file.
type text struct {
	buf      []byte
	encoding string
	bom      int64 // bytes of the byte order mark, not in buf
}

// decode tells the encoding of a card file and returns it as UTF-8. A byte
// order mark decides; without one, bytes that are UTF-8 (runs of 0xFF aside)
// are UTF-8, and all else is Windows-1252.
func decode(data []byte) text {
	switch {
	case bytes.HasPrefix(data, []byte{0xEF, 0xBB, 0xBF}):
		return text{data[3:], encUTF8BOM, 3}
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}):
		return text{fromUTF16(data[2:], 0, 1), encUTF16LE, 2}
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		return text{fromUTF16(data[2:], 1, 0), encUTF16BE, 2}
	case validUTF8(data):
		return text{data, encUTF8, 0}
	}
	return text{from1252(data), enc1252, 0}
}

// validUTF8 reports whether data is UTF-8 once erased bytes are passed over.
func validUTF8(data []byte) bool {
	for {
		i := bytes.IndexByte(data, erased)
		if i < 0 {
			return utf8.Valid(data)
		}
		if !utf8.Valid(data[:i]) {
			return false
		}
		data = data[i+1:]
	}
}

// fromUTF16 decodes UTF-16 whose low and high bytes are at lo and hi of each
// pair. A lone surrogate and an odd last byte become U+FFFD, and the unit
// 0xFFFF, which is erased flash, the byte 0xFF.
func fromUTF16(data []byte, lo, hi int) []byte {
	out := make([]byte, 0, len(data)/2+8)
	n := len(data) &^ 1
	for i := 0; i < n; i += 2 {
		r := rune(data[i+lo]) | rune(data[i+hi])<<8
		if r == 0xFFFF {
			out = append(out, erased)
			continue
		}
		if utf16.IsSurrogate(r) {
			low := rune(0)
			if i+3 < n {
				low = rune(data[i+2+lo]) | rune(data[i+2+hi])<<8
			}
			if r = utf16.DecodeRune(r, low); r != utf8.RuneError {
				i += 2
			}
		}
		out = utf8.AppendRune(out, r)
	}
	if n < len(data) {
		out = utf8.AppendRune(out, utf8.RuneError)
	}
	return out
}

func from1252(data []byte) []byte {
	out := make([]byte, 0, len(data)+len(data)/16)
	for _, b := range data {
		switch {
		case b < utf8.RuneSelf || b == erased:
			out = append(out, b)
		default:
			out = utf8.AppendRune(out, charmap.Windows1252.DecodeByte(b))
		}
	}
	return out
}

// asIs reports whether buf is the card file byte for byte, its mark left out.
func (t text) asIs() bool { return t.encoding == encUTF8 || t.encoding == encUTF8BOM }

// width returns how many bytes of the card file the piece of buf stands for.
func (t text) width(piece []byte) int64 {
	switch t.encoding {
	case enc1252:
		return int64(utf8.RuneCount(piece))
	case encUTF16LE, encUTF16BE:
		units := 0
		for _, r := range string(piece) {
			units++
			if r > 0xFFFF {
				units++
			}
		}
		return int64(2 * units)
	}
	return int64(len(piece))
}

// span is one line of a text, its line end not included.
type span struct {
	off int // first byte in text.buf
	len int
}

// clusterMin is the shortest run of NUL or erased bytes that counts as a
// cluster that was allocated and never written; up to three NULs are the
// string ends that some firmware writes with its text.
const clusterMin = 4

// isCluster reports whether a line is a cluster; split leaves no other line with a run
// so long.
func isCluster(line []byte) bool {
	return len(line) >= clusterMin && runLength(line) == len(line)
}

// split cuts the text into lines at CRLF, LF and CR. What follows the last
// line end is a line unless it is empty. A run of NUL or erased bytes is a line
// of its own, line end or not.
func (t text) split() (lines []span, lineEnd string) {
	if bytes.IndexByte(t.buf, 0) < 0 && bytes.IndexByte(t.buf, erased) < 0 {
		if lines, lineEnd, plain := t.splitPlain(); plain {
			return lines, lineEnd
		}
	}
	crlf := bytes.Count(t.buf, []byte("\r\n"))
	cr := bytes.Count(t.buf, []byte{'\r'}) - crlf
	lf := bytes.Count(t.buf, []byte{'\n'}) - crlf
	lines = make([]span, 0, crlf+cr+lf+1)
	for at := 0; at < len(t.buf); {
		end, next := t.lineEnd(at, cr > 0)
		lines = appendClusters(lines, t.buf, at, end)
		at = next
	}
	return lines, lineEndName(crlf, lf, cr)
}

// splitPlain is split, on all processors, for a text without clusters; plain is false
// where a CR by itself ends a line.
func (t text) splitPlain() (lines []span, lineEnd string, plain bool) {
	ends := make([]int, len(t.buf)/chunkBytes+2) // line ends before each chunk
	inChunks(len(t.buf), chunkBytes, func(chunk, from, to int) {
		ends[chunk+1] = bytes.Count(t.buf[from:to], []byte{'\n'})
	})
	for i := 1; i < len(ends); i++ {
		ends[i] += ends[i-1]
	}
	n := ends[len(ends)-1]
	lines = make([]span, n, n+1)
	var pairs, returns atomic.Int64
	inChunks(len(t.buf), chunkBytes, func(chunk, from, to int) {
		crlf := 0
		at := bytes.LastIndexByte(t.buf[:from], '\n') + 1
		for i := ends[chunk]; i < ends[chunk+1]; i++ {
			end := max(at, from) + bytes.IndexByte(t.buf[max(at, from):to], '\n')
			lines[i] = span{off: at, len: end - at}
			if end > at && t.buf[end-1] == '\r' {
				lines[i].len--
				crlf++
			}
			at = end + 1
		}
		pairs.Add(int64(crlf))
		returns.Add(int64(bytes.Count(t.buf[from:to], []byte{'\r'})))
	})
	if at := bytes.LastIndexByte(t.buf, '\n') + 1; at < len(t.buf) {
		lines = append(lines, span{off: at, len: len(t.buf) - at})
	}
	crlf := int(pairs.Load())
	return lines, lineEndName(crlf, n-crlf, 0), pairs.Load() == returns.Load()
}

// lineEnd finds the end of the line that begins at at, and where the next begins.
func (t text) lineEnd(at int, loneCR bool) (end, next int) {
	rest := t.buf[at:]
	if loneCR {
		return t.anyLineEnd(at)
	}
	i := bytes.IndexByte(rest, '\n')
	if i < 0 {
		return len(t.buf), len(t.buf)
	}
	end = at + i
	if i > 0 && rest[i-1] == '\r' {
		end--
	}
	return end, at + i + 1
}

// anyLineEnd is lineEnd for a text in which a CR by itself ends a line.
func (t text) anyLineEnd(at int) (end, next int) {
	for end = at; end < len(t.buf); end++ {
		switch {
		case t.buf[end] == '\n':
			return end, end + 1
		case t.buf[end] == '\r' && end+1 < len(t.buf) && t.buf[end+1] == '\n':
			return end, end + 2
		case t.buf[end] == '\r':
			return end, end + 1
		}
	}
	return end, end
}

func lineEndName(crlf, lf, cr int) string {
	switch {
	case crlf+lf+cr == 0:
		return "none"
	case lf+cr == 0:
		return "crlf"
	case crlf+cr == 0:
		return "lf"
	case crlf+lf == 0:
		return "cr"
	}
	return "mixed"
}

// appendClusters appends the line buf[at:end], cut where runs of NUL or erased
// bytes begin and end.
func appendClusters(lines []span, buf []byte, at, end int) []span {
	start := at
	for i := at; i < end; {
		n := runLength(buf[i:end])
		if n < clusterMin {
			i += max(n, 1)
			continue
		}
		if i > start {
			lines = append(lines, span{off: start, len: i - start})
		}
		lines = append(lines, span{off: i, len: n})
		i += n
		start = i
	}
	if start < end || at == end {
		lines = append(lines, span{off: start, len: end - start})
	}
	return lines
}

// runLength counts the NUL or erased bytes that b begins with, all the same.
func runLength(b []byte) int {
	if b[0] != 0 && b[0] != erased {
		return 0
	}
	n := 1
	for n < len(b) && b[n] == b[0] {
		n++
	}
	return n
}

// isText reports whether buf looks like text: of its ASCII bytes outside
// clusters, at most one in ten is a control character that text does not hold.
func isText(buf []byte) bool {
	var odd, none atomic.Int64
	inChunks(len(buf), chunkBytes, func(_, from, to int) {
		strange, empty := 0, 0
		for i := from; i < to; i++ {
			if to-i >= 8 && printed(binary.LittleEndian.Uint64(buf[i:])) {
				i += 7
				continue
			}
			switch b := buf[i]; {
			case b >= ' ' && b < utf8.RuneSelf || b == '\n' || b == '\r' || b == '\t' || b == 0x1A:
			case b == 0 || b >= utf8.RuneSelf:
				empty++
			default:
				strange++
			}
		}
		odd.Add(int64(strange))
		none.Add(int64(empty))
	})
	return odd.Load()*10 <= int64(len(buf))-none.Load()
}

// printed reports whether each of eight bytes is a printed character of ASCII: none has
// its highest bit set, nor gets it when the space is taken off.
func printed(eight uint64) bool {
	const high, spaces = 0x8080808080808080, 0x2020202020202020
	return (eight|(eight-spaces))&high == 0
}

// chunkBytes is how many bytes are looked at by one processor at a time.
const chunkBytes = 1 << 20
