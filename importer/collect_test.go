package importer

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"doorleaf/usage"
)

var small = Limits{CardBytes: 1000, TotalBytes: 2500, Files: 10}

func zipOf(t testing.TB, files map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range files {
		w, err := z.Create(name)
		if err == nil {
			_, err = w.Write([]byte(text))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func collected(c *Collector) string {
	var out []string
	for _, f := range c.Cards() {
		out = append(out, fmt.Sprintf("%s|%s|%s|%d", f.Folder, f.Name, f.Tag, len(f.Bytes)))
	}
	for _, s := range c.Skipped() {
		out = append(out, fmt.Sprintf("skip %s refused=%t", s.Path, s.Refused))
	}
	return strings.Join(out, "\n")
}

func TestCollector(t *testing.T) {
	tests := []struct {
		name  string
		files [][2]string
		want  string
		kind  usage.Kind
	}{
		{"a file on its own", [][2]string{{"LOG.XYZ", "abc"}}, "|LOG.XYZ||3", 0},
		{"folders and tags", [][2]string{{"a/LOG.TXT", "abc"}, {"a/DOORLEAF.TXT", "Site: mill\r\n"}, {"b/LOG.TXT", "ab"}},
			"a|LOG.TXT|MILL|3\nb|LOG.TXT||2", 0},
		{"what is no card", [][2]string{{"a/photo.jpg", "x"}, {"a/.hidden.txt", "x"}, {"System Volume Information/x.txt", "x"}},
			"skip a/photo.jpg refused=false\nskip a/.hidden.txt refused=false\nskip System Volume Information/x.txt refused=false", 0},
		{"too large a card", [][2]string{{"LOG.TXT", strings.Repeat("a", 1001)}, {"B.TXT", "b"}}, "|B.TXT||1\nskip LOG.TXT refused=true", 0},
		{"too much together", [][2]string{{"A.TXT", strings.Repeat("a", 900)}, {"B.TXT", strings.Repeat("a", 900)}, {"C.TXT", strings.Repeat("a", 900)}}, "", usage.TooLarge},
		{"a name beyond any file system's", [][2]string{{strings.Repeat("x", 256) + ".TXT", "abc"}, {"B.TXT", "b"}}, "|B.TXT||1\nskip " + strings.Repeat("x", 80) + "… refused=true", 0},
		{"folders without end", [][2]string{{strings.Repeat("a/", 33) + "LOG.TXT", "abc"}}, "skip " + strings.Repeat("a/", 33) + "LOG.TXT refused=true", 0},
		{"a damaged .zip", [][2]string{{"x.zip", "PK no"}}, "skip x.zip refused=true", 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := NewCollector(small)
			var err error
			for _, f := range tt.files {
				if err = c.Add(f[0], strings.NewReader(f[1])); err != nil {
					break
				}
			}
			if usage.KindOf(err) != tt.kind {
				t.Fatalf("error = %v, want kind %d", err, tt.kind)
			}
			if got := collected(c); tt.kind == 0 && got != tt.want {
				t.Errorf("collected\n%s\nwant\n%s", got, tt.want)
			}
		})
	}
}

// Packed cards come out packed, each as soon as it was read, within the same limits.
func TestCollectorPacks(t *testing.T) {
	c := NewCollector(small)
	c.PackWith(func(data []byte) ([]byte, error) { return []byte(fmt.Sprint(len(data), " bytes")), nil })
	err := c.Add("x.zip", bytes.NewReader(zipOf(t, map[string]string{"a/LOG.TXT": strings.Repeat("a", 900), "b/LOG.TXT": strings.Repeat("a", 800)})))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range c.Cards() {
		if f.Bytes != nil || !strings.HasSuffix(string(f.Packed), "00 bytes") {
			t.Errorf("%s comes with %d bytes and packed as %q", f.Path, len(f.Bytes), f.Packed)
		}
	}
	if err := c.Add("LOG.TXT", strings.NewReader(strings.Repeat("a", 900))); usage.KindOf(err) != usage.TooLarge {
		t.Errorf("beyond the limit of all together: %v, want TooLarge", err)
	}
}

func TestCollectorZip(t *testing.T) {
	c := NewCollector(small)
	err := c.Add("pocket.zip", bytes.NewReader(zipOf(t, map[string]string{
		"MILL/LOG.TXT": "abc", "MILL/DOORLEAF.TXT": "site MILL", "../../etc/LOG.TXT": "x", "inner.zip": "PK", "MILL/empty/": "",
	})))
	if err != nil {
		t.Fatal(err)
	}
	got := collected(c)
	for _, want := range []string{"pocket.zip/MILL|LOG.TXT|MILL|3", "pocket.zip/etc|LOG.TXT||1", "skip pocket.zip/inner.zip refused=true"} {
		if !strings.Contains(got, want) {
			t.Errorf("collected\n%s\nwant %s in it", got, want)
		}
	}
	if strings.Contains(got, "..") {
		t.Errorf("a path climbs out of its .zip:\n%s", got)
	}
}

// TestCollectorBombs brings .zip files that unpack to far more than they weigh:
// honest about it, many small ones, and more files than allowed.
func TestCollectorBombs(t *testing.T) {
	many := map[string]string{}
	for i := range 5 {
		many[fmt.Sprintf("%d/LOG.TXT", i)] = strings.Repeat("a", 999)
	}
	files := map[string]string{}
	for i := range 5 {
		files[fmt.Sprintf("%d/LOG.TXT", i)] = "a"
	}
	for name, entries := range map[string]map[string]string{"together": many, "files": files} {
		limits := small
		if name == "files" {
			limits.Files = 4
		}
		if err := NewCollector(limits).Add("x.zip", bytes.NewReader(zipOf(t, entries))); usage.KindOf(err) != usage.TooLarge {
			t.Errorf("%s: error = %v, want TooLarge", name, err)
		}
	}
	c := NewCollector(small)
	if err := c.Add("x.zip", bytes.NewReader(lyingZip(t))); err != nil {
		t.Fatalf("a .zip that lies about its size: %v", err)
	}
	if got := collected(c); got != "skip x.zip/LOG.TXT refused=true" {
		t.Errorf("a .zip that lies about its size: collected %s", got)
	}
}

// lyingZip says that its entry of 100,000 bytes has one.
func lyingZip(t *testing.T) []byte {
	data := zipOf(t, map[string]string{"LOG.TXT": strings.Repeat("a", 100_000)})
	size := []byte{0xa0, 0x86, 0x01, 0x00} // 100,000, little-endian
	if !bytes.Contains(data, size) {
		t.Fatal("no size to lie about")
	}
	return bytes.ReplaceAll(data, size, []byte{1, 0, 0, 0})
}

// FuzzCollector checks on any bytes given as a .zip that nothing beyond the
// limits comes out and that no path climbs out of the archive.
func FuzzCollector(f *testing.F) {
	f.Add([]byte("PK"))
	f.Add(zipOf(f, map[string]string{"MILL/LOG.TXT": "abc", "MILL/DOORLEAF.TXT": "site MILL", "../x.txt": "x"}))
	f.Fuzz(func(t *testing.T, data []byte) {
		c := NewCollector(small)
		if err := c.Add("x.zip", bytes.NewReader(data)); err != nil && usage.KindOf(err) != usage.TooLarge {
			return
		}
		total := int64(0)
		for _, card := range c.Cards() {
			total += int64(len(card.Bytes))
			if int64(len(card.Bytes)) > small.CardBytes || !strings.HasPrefix(card.Path, "x.zip/") || strings.Contains(card.Path, "/../") {
				t.Fatalf("card %q of %d bytes came out", card.Path, len(card.Bytes))
			}
		}
		if total > small.TotalBytes || len(c.Cards()) > small.Files {
			t.Fatalf("%d cards of %d bytes came out", len(c.Cards()), total)
		}
	})
}

func TestAdvise(t *testing.T) {
	sites := []usage.Site{{Code: "MILL", Name: "Mill Lane"}, {Code: "GATE", Name: "School Gate"}}
	tests := []struct {
		name  string
		clues Clues
		site  string
		by    By
		tag   string
		other string
	}{
		{"nothing", Clues{}, "", ByNothing, "", ""},
		{"tag", Clues{Tag: "GATE", Folder: "MILL"}, "GATE", ByTag, "", ""},
		{"a tag of no site", Clues{Tag: "NONE", Folder: "x/mill lane/2024"}, "MILL", ByFolder, "NONE", ""},
		{"overlap before folder", Clues{Overlaps: []Overlap{{"GATE", 9}}, Folder: "MILL"}, "GATE", ByOverlap, "", ""},
		{"folder", Clues{Folder: "round/Gate 3"}, "GATE", ByFolder, "", ""},
		{"two names in one folder", Clues{Folder: "MILL and GATE"}, "", ByNothing, "", ""},
		{"choice against a tag", Clues{Choice: "MILL", Tag: "GATE"}, "MILL", ByChoice, "GATE", ""},
		{"choice against an overlap", Clues{Choice: "MILL", Overlaps: []Overlap{{"GATE", 9}}}, "MILL", ByChoice, "", "GATE"},
		{"tag against an overlap", Clues{Tag: "MILL", Overlaps: []Overlap{{"GATE", 9}}}, "MILL", ByTag, "", "GATE"},
		{"kept", Clues{Kept: "MILL", Folder: "GATE"}, "MILL", ByKept, "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a := Advise(sites, tt.clues)
			other := ""
			if a.Other != nil {
				other = a.Other.Site
			}
			if a.Site != tt.site || a.By != tt.by || a.Tag != tt.tag || other != tt.other {
				t.Errorf("Advise = site %q by %d tag %q other %q, want %q %d %q %q", a.Site, a.By, a.Tag, other, tt.site, tt.by, tt.tag, tt.other)
			}
		})
	}
}

// A file that was read in pieces reads as one, from wherever one begins.
func TestPieces(t *testing.T) {
	text := strings.Repeat("0123456789abcdef\n", 20_000)
	read, err := readUpTo(iotest.HalfReader(strings.NewReader(text)), 0, 1<<20)
	if err != nil || len(read.all) < 3 || read.size != int64(len(text)) || string(read.joined()) != text {
		t.Fatalf("%d pieces of %d bytes, %v, want several of %d", len(read.all), read.size, err, len(text))
	}
	if err := iotest.TestReader(io.NewSectionReader(read, 0, read.size), []byte(text)); err != nil {
		t.Error(err)
	}
	for _, limit := range []int64{int64(len(text)) - 1, 100} {
		if read, err := readUpTo(strings.NewReader(text), 0, limit); read != nil || err != nil {
			t.Errorf("readUpTo with a limit of %d = %v, %v, want nothing", limit, read, err)
		}
	}
}
