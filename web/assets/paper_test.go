package assets

import (
	"encoding/binary"
	"testing"
)

// The faces for paper are whole TrueType fonts: the sum of each table is the one
// that the directory has for it (OpenType 1.9, "Calculating checksums"). That of
// the table head is left out, since it holds a sum itself.
func TestPaperFontsAreWhole(t *testing.T) {
	if len(PaperFonts) != 3 {
		t.Fatalf("faces for paper = %d, want 3", len(PaperFonts))
	}
	for _, files := range PaperFonts {
		for _, name := range files {
			data, err := Read(name)
			if err != nil {
				t.Fatal(err)
			}
			if got := binary.BigEndian.Uint32(data); got != 0x00010000 {
				t.Fatalf("%s begins with %08x, want 00010000", name, got)
			}
			tables := int(binary.BigEndian.Uint16(data[4:]))
			outlines := false
			for i := range tables {
				entry := data[12+16*i:]
				tag, want := string(entry[:4]), binary.BigEndian.Uint32(entry[4:])
				at, length := binary.BigEndian.Uint32(entry[8:]), binary.BigEndian.Uint32(entry[12:])
				outlines = outlines || tag == "glyf"
				if got := sumOf(data[at : at+length]); got != want && tag != "head" {
					t.Errorf("%s: table %s sums to %08x, want %08x", name, tag, got, want)
				}
			}
			if !outlines {
				t.Errorf("%s has no table glyf", name)
			}
		}
	}
}

func sumOf(table []byte) (sum uint32) {
	padded := append(append([]byte{}, table...), 0, 0, 0)
	for i := 0; i < len(table); i += 4 {
		sum += binary.BigEndian.Uint32(padded[i:])
	}
	return sum
}
