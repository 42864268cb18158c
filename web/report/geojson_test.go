package report

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"

	"pgregory.net/rapid"

	"doorleaf/usage"
)

// geo is a feature collection as RFC 7946 has it.
type geo struct {
	Type     string
	Bbox     []float64
	CRS      any
	Features []struct {
		Type       string
		ID         string
		Properties map[string]any
		Geometry   struct {
			Type        string
			Coordinates []float64
		}
	}
}

func geoOf(t *testing.T, s Season, coarse int) geo {
	t.Helper()
	var b bytes.Buffer
	if err := WriteGeoJSON(&b, s, coarse); err != nil {
		t.Fatal(err)
	}
	var g geo
	if err := json.Unmarshal(b.Bytes(), &g); err != nil {
		t.Fatal(err)
	}
	return g
}

// TestGeoJSON holds the sites against RFC 7946: 3.1.1 and 4 (longitude first, no
// crs), 3.2 (geometry and properties), 5 (the bounding box), 11.2 (precision).
func TestGeoJSON(t *testing.T) {
	s := tableSeason(12)
	s.Sites[0].Latitude, s.Sites[0].Longitude = 52.123456789, -8.987654321
	g := geoOf(t, s, 0)
	if g.Type != "FeatureCollection" || g.CRS != nil || len(g.Features) != 12 {
		t.Fatalf("collection = %s of %d features, crs %v", g.Type, len(g.Features), g.CRS)
	}
	if want := []float64{-8.987654, 52, -8, 52.123457}; !sameNumbers(g.Bbox, want) {
		t.Errorf("bbox = %v, want %v", g.Bbox, want)
	}
	for i, f := range g.Features {
		if f.Type != "Feature" || f.ID != s.Sites[i].Code || f.Geometry.Type != "Point" || len(f.Geometry.Coordinates) != 2 {
			t.Errorf("feature %d = %+v", i, f)
		}
		if at := f.Geometry.Coordinates; math.Abs(at[0]-s.Sites[i].Longitude) > 1e-6 || math.Abs(at[1]-s.Sites[i].Latitude) > 1e-6 {
			t.Errorf("coordinates of %s = %v, want longitude %v, latitude %v", f.ID, at, s.Sites[i].Longitude, s.Sites[i].Latitude)
		}
		if got := f.Properties["counted_visits"]; got != float64(s.Sites[i].Figures.Counted) {
			t.Errorf("counted_visits of %s = %v, want %d", f.ID, got, s.Sites[i].Figures.Counted)
		}
	}
	if g := geoOf(t, s, 1<<30); g.Features[0].Properties["counted_visits"] != nil || g.Features[0].Properties["covered_days"] == nil {
		t.Errorf("coarse properties = %v", g.Features[0].Properties)
	}
	if g := geoOf(t, Season{Name: "2026-summer", Network: usage.NetworkFigures(nil)}, 0); g.Features == nil || len(g.Features) != 0 || g.Bbox != nil {
		t.Errorf("no sites = %+v, want no features and no bbox", g)
	}
}

func sameNumbers(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// TestBoundingBox: every position is inside, and no box that begins at a position
// and holds all of them is narrower.
func TestBoundingBox(t *testing.T) {
	wide := func(west, east float64) float64 { return math.Mod(east-west+360, 360) }
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.SliceOfN(rapid.IntRange(-180, 179), 1, 12).Draw(t, "longitudes")
		var b boundingBox
		for _, degrees := range at {
			b.add([2]float64{float64(degrees), float64(degrees) / 2})
		}
		c := b.corners()
		for _, west := range at {
			reach := 0.0
			for _, degrees := range at {
				reach = max(reach, wide(float64(west), float64(degrees)))
				if wide(c[0], float64(degrees)) > wide(c[0], c[2]) || float64(degrees)/2 < c[1] || float64(degrees)/2 > c[3] {
					t.Errorf("corners(%v) = %v, which leaves out %d", at, c, degrees)
				}
			}
			if reach < wide(c[0], c[2]) {
				t.Errorf("corners(%v) = %v, %v degrees wide, want %v", at, c, wide(c[0], c[2]), reach)
			}
		}
	})
}
