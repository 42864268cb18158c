package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzReportText gives a site any name, and the report any sentence. The tables can be
// read back and nothing in them is a formula; the map is JSON that says the name.
func FuzzReportText(f *testing.F) {
	for _, s := range append([]string{"Mill Lane", "\u202eevil\u2066", "a\x00b\x1b[2J", strings.Repeat("long", 100), "'=1", "\"\r\n,"}, hostile...) {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		s := tableSeason(2)
		s.Sites[0].Name = name
		s.Sentence = []string{name}
		var b bytes.Buffer
		if err := WriteCSV(&b, s); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
		if err != nil || len(rows) != 4 {
			t.Fatalf("%d rows, %v, want head, two sites and the network\n%q", len(rows), err, b.String())
		}
		for _, cell := range rows[1][:3] {
			if risky(cell) {
				t.Fatalf("cell %q is a formula", cell)
			}
		}
		got, want := strings.ReplaceAll(rows[1][2], "\n", ""), strings.NewReplacer("\n", "", "\r", "").Replace(plain(name))
		if utf8.ValidString(name) && got != want {
			t.Fatalf("name comes back as %q, want %q", got, want)
		}
		b.Reset()
		if err := WriteGeoJSON(&b, s, 0); err != nil {
			t.Fatal(err)
		}
		var doc struct {
			Features []struct{ Properties map[string]any }
		}
		if err := json.Unmarshal(b.Bytes(), &doc); err != nil || len(doc.Features) != 2 {
			t.Fatalf("map: %v, %d features", err, len(doc.Features))
		}
		if utf8.ValidString(name) && doc.Features[0].Properties["name"] != name {
			t.Fatalf("the map names the site %q, want %q", doc.Features[0].Properties["name"], name)
		}
	})
}
