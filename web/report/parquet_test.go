package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"maps"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"doorleaf/usage"
)

// folder is a folder in memory that knows which files were closed.
type folder struct {
	files map[string]*bytes.Buffer
	open  int
	most  int // files open at the same time
	fail  int // the file that cannot be made, counted from 1; 0: none
}

type memoryFile struct {
	*bytes.Buffer
	in     *folder
	closed bool
}

func (f *memoryFile) Close() error {
	if !f.closed {
		f.in.open--
	}
	f.closed = true
	return nil
}

func (d *folder) create(name string) (io.WriteCloser, error) {
	if d.fail > 0 && len(d.files)+1 == d.fail {
		return nil, errors.New("disk full")
	}
	if d.files == nil {
		d.files = map[string]*bytes.Buffer{}
	}
	if d.files[name] != nil {
		return nil, errors.New(name + " is made twice")
	}
	d.files[name] = &bytes.Buffer{}
	d.open++
	d.most = max(d.most, d.open)
	return &memoryFile{Buffer: d.files[name], in: d}, nil
}

// leapingNetwork has a site whose clock leaps among so many years, each opening a
// visit of its own, and one without a time at the end.
func leapingNetwork(openings, years int) Network {
	site := usage.Site{Code: "MILL", Name: "=Mill", Latitude: -52, Longitude: -8, Zone: "Europe/Dublin", InstalledOn: usage.DateOf(2016, 1, 1), Thresholds: usage.DefaultThresholds}
	at := func(i int) int64 { return 1451606400 + int64(i%years)*366*86400 + int64(i)*4000 }
	return Network{
		Name: "larkbridge", Sites: []usage.Site{site},
		Openings: func(string) iter.Seq2[Opening, error] {
			return func(yield func(Opening, error) bool) {
				for i := range openings {
					o := Opening{Opening: usage.Opening{At: at(i), OpenS: int32(i % 90), Visit: int32(i + 1), Line: int32(i + 1), Offset: int64(20 * i), Timed: true, ErrorS: 60}, Position: int64(i), CardID: "c1"}
					switch {
					case i == openings-1:
						o.Timed, o.At, o.Earliest, o.Latest = false, 0, at(0)+86400, at(0)+2*86400
					case i%90 == 89:
						o.OpenS = usage.Unknown
					case i%90 < 2:
						o.Class, o.Visit = usage.Rattle, usage.Unknown
					}
					if !yield(o, nil) {
						return
					}
				}
			}
		},
		Days: func(string) ([]usage.Day, error) {
			return []usage.Day{{Date: usage.DateOf(2016, 12, 31), Openings: 9, Visits: 4, OpenS: 50, ExposureS: 86399}, {Date: usage.DateOf(2017, 1, 1), Openings: 9, Visits: 6, OpenS: 70, Dark: 1, ExposureS: 3600}}, nil
		},
	}
}

func parquetOf(t *testing.T, n Network, coarse int) *folder {
	t.Helper()
	d := &folder{}
	if err := WriteParquet(d.create, n, coarse); err != nil {
		t.Fatal(err)
	}
	if d.open != 0 {
		t.Errorf("files left open = %d, want 0", d.open)
	}
	return d
}

// read returns the rows of a table by file, each with its columns by name.
func (d *folder) read(t *testing.T, table string) map[string][]map[string]any {
	t.Helper()
	rows := map[string][]map[string]any{}
	for name, data := range d.files {
		if strings.HasPrefix(name, table+"/") {
			got, err := parquet.Read[any](bytes.NewReader(data.Bytes()), int64(data.Len()))
			if err != nil {
				t.Fatalf("read %s: %v", name, err)
			}
			for _, row := range got {
				rows[name] = append(rows[name], row.(map[string]any))
			}
		}
	}
	return rows
}

// TestParquetRows reads back openings whose clock leaps among more years than files
// are open for: every row is there once, in its year.
func TestParquetRows(t *testing.T) {
	const openings, years = 400, mostParts + 3
	d := parquetOf(t, leapingNetwork(openings, years), 0)
	if d.most > mostParts+1 {
		t.Errorf("files open at the same time = %d, want %d at most", d.most, mostParts+1)
	}
	seen, untimed := map[int64]bool{}, 0
	for name, rows := range d.read(t, "openings") {
		for _, row := range rows {
			seen[row["position"].(int64)] = true
			if row["network"] != "larkbridge" || row["site"] != "MILL" {
				t.Fatalf("row of %s = %v", name, row)
			}
			if row["at"] == nil {
				untimed++
				if !strings.HasPrefix(name, "openings/site=MILL/year=__HIVE_DEFAULT_PARTITION__/") || row["season"] != "2015-16-summer" || row["date"] != nil {
					t.Errorf("untimed row of %s = %v, want its season alone", name, row)
				}
				continue
			}
			date := usage.Date(row["date"].(int32))
			if want := "openings/site=MILL/year=" + date.String()[:4]; path.Dir(name) != want {
				t.Errorf("folder of %s = %s, want %s", date, path.Dir(name), want)
			}
			if at := row["at"].(int64); usage.Date(at/86400_000) != date && usage.Date((at+3600_000)/86400_000) != date {
				t.Errorf("date of %d = %s", at, date)
			}
		}
	}
	if len(seen) != openings || untimed != 1 {
		t.Errorf("openings = %d, untimed %d, want %d and 1", len(seen), untimed, openings)
	}
}

// TestParquetSameBytes also names every file in the descriptor.
func TestParquetSameBytes(t *testing.T) {
	a, b := parquetOf(t, leapingNetwork(500, 5), 0), parquetOf(t, leapingNetwork(500, 5), 0)
	for name, data := range a.files {
		if !bytes.Equal(data.Bytes(), b.files[name].Bytes()) {
			t.Errorf("%s is not the same twice", name)
		}
	}
	var p struct{ Resources []struct{ Path []string } }
	if err := json.Unmarshal(a.files["datapackage.json"].Bytes(), &p); err != nil {
		t.Fatal(err)
	}
	named := []string{"datapackage.json"}
	for _, r := range p.Resources {
		named = append(named, r.Path...)
	}
	slices.Sort(named)
	if files := slices.Sorted(maps.Keys(a.files)); !slices.Equal(named, files) {
		t.Errorf("files named = %q, want %q", named, files)
	}
}

// TestParquetSchema reads the types that the files name (Apache Parquet format,
// LogicalTypes.md).
func TestParquetSchema(t *testing.T) {
	d := parquetOf(t, leapingNetwork(10, 1), 0)
	for file, want := range map[string]string{
		"days/site=MILL/year=2016/part.parquet": `message days {
	required binary network (STRING);
	required binary site (STRING);
	required int32 date (DATE);
	required binary season (STRING);
	optional int64 openings (INT(64,true));
	optional int64 visits (INT(64,true));
	optional int64 open_s (INT(64,true));
	optional int64 openings_without_seconds (INT(64,true));
	optional int64 dark_visits (INT(64,true));
	optional int64 twilight_visits (INT(64,true));
	required int64 exposure_s (INT(64,true));
}`,
		"visits/site=MILL/year=2016/part.parquet": `message visits {
	required binary network (STRING);
	required binary site (STRING);
	required int64 visit (INT(64,true));
	optional int64 at (TIMESTAMP(isAdjustedToUTC=true,unit=MILLIS));
	optional int64 error_s (INT(64,true));
	optional int64 earliest (TIMESTAMP(isAdjustedToUTC=true,unit=MILLIS));
	optional int64 latest (TIMESTAMP(isAdjustedToUTC=true,unit=MILLIS));
	optional int32 date (DATE);
	optional int64 hour (INT(64,true));
	optional binary season (STRING);
	required int64 openings (INT(64,true));
	required int64 open_s (INT(64,true));
	required int64 openings_without_seconds (INT(64,true));
	optional binary light (STRING);
}`,
	} {
		data := d.files[file]
		if data == nil {
			t.Fatalf("no file %s", file)
		}
		f, err := parquet.OpenFile(bytes.NewReader(data.Bytes()), int64(data.Len()))
		if err != nil {
			t.Fatal(err)
		}
		if got := f.Schema().String(); got != want {
			t.Errorf("schema of %s = %s, want %s", file, got, want)
		}
		if name, ok := f.Lookup("network"); !ok || name != "larkbridge" {
			t.Errorf("network of %s = %q", file, name)
		}
	}
}

// TestCoarseParquet holds back openings, visits, and days of few visits.
func TestCoarseParquet(t *testing.T) {
	n := leapingNetwork(300, 3)
	d := parquetOf(t, n, 5)
	for name := range d.files {
		if table, _, _ := strings.Cut(name, "/"); !slices.Contains([]string{"sites", "days", "date_hours", "datapackage.json"}, table) {
			t.Errorf("file %s in a coarse export", name)
		}
	}
	for name, rows := range d.read(t, "days") {
		for _, row := range rows {
			few := strings.Contains(name, "2016") // 4 visits; 6 the year after
			if (row["visits"] == nil) != few || (row["open_s"] == nil) != few || row["dark_visits"] != nil || row["exposure_s"] == nil {
				t.Errorf("day of %s = %v", name, row)
			}
		}
	}
}

// TestParquetFails closes what it opened when a file cannot be made, whichever.
func TestParquetFails(t *testing.T) {
	n := leapingNetwork(30, mostParts+3)
	whole := len(parquetOf(t, n, 0).files)
	for i := range whole {
		d := &folder{fail: i + 1}
		if err := WriteParquet(d.create, n, 0); err == nil || d.open != 0 {
			t.Errorf("file %d: error %v, left open %d", i+1, err, d.open)
		}
	}
}
