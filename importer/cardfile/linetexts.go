package cardfile

// LineTexts returns the lines first to last of a card file as text, numbered
// from 1 as Read numbers them, without their line ends. Lines that the file
// does not have are left out. The text is not escaped.
func LineTexts(data []byte, first, last int) []string {
	t := decode(data)
	lines, _ := t.split()
	var texts []string
	for i := max(first, 1) - 1; i < min(last, len(lines)); i++ {
		texts = append(texts, string(t.buf[lines[i].off:lines[i].off+lines[i].len]))
	}
	return texts
}
