package cardfile

import "bytes"

// cut cuts a line into fields. A space as delimiter means any run of spaces
// and tabs, and a comma or semicolon that ends a field is then dropped.
func cut(line []byte, delim byte, out [][]byte) [][]byte {
	out = out[:0]
	if delim == 0 {
		return append(out, trim(line))
	}
	if delim == ' ' {
		return cutSpaces(line, out)
	}
	for len(out) < mostFields {
		i := bytes.IndexByte(line, delim)
		if i < 0 {
			return append(out, trim(line))
		}
		out = append(out, trim(line[:i]))
		line = line[i+1:]
	}
	return out
}

func cutSpaces(line []byte, out [][]byte) [][]byte {
	for at := 0; len(out) < mostFields; {
		at = skipSpaces(line, at)
		if at >= len(line) {
			break
		}
		end := at
		for end < len(line) && line[end] != ' ' && line[end] != '\t' {
			end++
		}
		field := trim(line[at:end])
		if n := len(field); n > 1 && (field[n-1] == ',' || field[n-1] == ';') {
			field = field[:n-1]
		}
		out = append(out, field)
		at = end
	}
	return out
}

// shape is what a field looks like by itself.
type shape uint8

const (
	shapeEmpty shape = iota
	shapeText
	shapeWeekday
	shapeDate
	shapeTime
	shapeStamp
	shapeNumber
	shapeMarker
	shapeEvent
	shapes
)

// shapeOf tells the shape of a trimmed field.
func shapeOf(f []byte, d *digits) shape {
	if len(f) == 0 {
		return shapeEmpty
	}
	at := 0
	if n := weekdayWord(f); n > 0 {
		if at = skipPunctuation(f, n); at == len(f) {
			return shapeWeekday
		}
	}
	rest := f[at:]
	if n, _ := lexStamp(rest, d); n == len(rest) {
		return shapeStamp
	}
	if n := lexDate(rest, d); n == len(rest) {
		return shapeDate
	}
	if n := lexTime(rest, d); n == len(rest) && at == 0 {
		return shapeTime
	}
	if _, ok := decimal(f); ok {
		return shapeNumber
	}
	if n := lexMarker(f, d); n == len(f) {
		return shapeMarker
	}
	if _, ok := eventOf(f); ok {
		return shapeEvent
	}
	return shapeText
}

func skipPunctuation(b []byte, at int) int {
	for at < len(b) && (b[at] == ' ' || b[at] == ',' || b[at] == '.' || b[at] == '\t') {
		at++
	}
	return at
}
