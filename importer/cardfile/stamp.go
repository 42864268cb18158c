package cardfile

// lexStamp reads date and time, in either order, with a T, spaces or a comma
// between them, and an offset to UTC. It returns the bytes it took, 0 if there
// is no stamp.
func lexStamp(b []byte, d *digits) (int, int16) {
	if n := lexCompact(b, d); n > 0 {
		zone, k := lexZone(b[n:])
		return n + k, zone
	}
	n := lexDate(b, d)
	if n == 0 {
		return lexTimeFirst(b, d), NoZone
	}
	at := n
	if at < len(b) && b[at]|0x20 == 't' {
		at++
	} else if at = skipPunctuation(b, at); at == n {
		return 0, NoZone
	}
	k := lexTime(b[at:], d)
	if k == 0 {
		k = lexDottedTime(b[at:], d)
	}
	if k == 0 {
		return 0, NoZone
	}
	at += k
	zone, k := lexZone(b[at:])
	return at + k, zone
}

// lexDottedTime reads h.mm.ss after a date.
func lexDottedTime(b []byte, d *digits) int {
	n := 0
	for n < len(b) && (b[n] == '.' || b[n]-'0' <= 9) {
		n++
	}
	if n < 7 || n > 8 {
		return 0
	}
	return lexBareTime(b[:n], d)
}

func lexTimeFirst(b []byte, d *digits) int {
	n := lexTime(b, d)
	if n == 0 {
		return 0
	}
	at := skipPunctuation(b, n)
	k := lexDate(b[at:], d)
	if k == 0 || at == n {
		return 0
	}
	return at + k
}

// lexCompact reads YYYYMMDDhhmmss, with or without a T after the date.
func lexCompact(b []byte, d *digits) int {
	n := 0
	for n < len(b) && b[n]-'0' <= 9 {
		n++
	}
	at := 8
	if n == 8 && len(b) >= 15 && b[8]|0x20 == 't' {
		at = 9
	} else if n != 14 {
		return 0
	}
	two := func(i int) int { return int(b[i]-'0')*10 + int(b[i+1]-'0') }
	for i := at; i < at+6; i++ {
		if b[i]-'0' > 9 {
			return 0
		}
	}
	year := two(0)*100 + two(2)
	if year < 1900 || year > 2199 {
		return 0
	}
	d.a, d.b, d.c = uint16(year), uint16(two(4)), uint16(two(6))
	d.h, d.m, d.s = uint8(two(at)), uint8(two(at+2)), uint8(two(at+4))
	d.secs, d.padded, d.marked = true, true, false
	return at + 6
}

// decimal reads a whole field as a number, with or without a fraction.
func decimal(b []byte) (int64, bool) {
	v, n := number(b, 1<<53)
	if n == 0 || n > 16 {
		return 0, false
	}
	if n < len(b) && (b[n] == '.' || b[n] == ',') {
		_, k := number(b[n+1:], 0)
		if k == 0 {
			return 0, false
		}
		n += 1 + k
	}
	return int64(v), n == len(b) || n <= 8 && unit(b[skipSpaces(b, n):])
}
