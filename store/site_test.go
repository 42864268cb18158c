package store

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"doorleaf/usage"
)

func TestAddSite(t *testing.T) {
	s := openEmpty(t, t.TempDir())
	full := testSite("A1")
	full.Clock = usage.ClockUTC
	full.Profile.DateOrder = "dmy"
	full.Thresholds = usage.Thresholds{RattleS: 3, AjarS: 600, JoinS: 60}
	if err := s.AddSite(t.Context(), full); err != nil {
		t.Fatal(err)
	}
	if err := s.AddSite(t.Context(), testSite("MILL")); err != nil {
		t.Fatal(err)
	}
	plain := testSite("MILL")
	plain.Clock = usage.ClockFixed
	plain.Thresholds = usage.DefaultThresholds
	sites, err := s.Sites(t.Context())
	want := []SiteSummary{{Site: full}, {Site: plain}}
	if diff := cmp.Diff(want, sites); err != nil || diff != "" {
		t.Errorf("Sites(): %v (-want +got)\n%s", err, diff)
	}
	wantKind(t, "AddSite(MILL) again", s.AddSite(t.Context(), testSite("MILL")), usage.Conflict)
	_, err = s.Site(t.Context(), "NONE")
	wantKind(t, "Site(NONE)", err, usage.NotFound)
}

func TestCheckSite(t *testing.T) {
	s := openEmpty(t, t.TempDir())
	for _, test := range []struct {
		name  string
		spoil func(*usage.Site)
	}{
		{"no code", func(s *usage.Site) { s.Code = "" }},
		{"lower-case code", func(s *usage.Site) { s.Code = "mill" }},
		{"long code", func(s *usage.Site) { s.Code = "ABCDEFGH9" }},
		{"code with line end", func(s *usage.Site) { s.Code = "MILL\n" }},
		{"blank name", func(s *usage.Site) { s.Name = "  " }},
		{"long name", func(s *usage.Site) { s.Name = strings.Repeat("ß", 81) }},
		{"name no text", func(s *usage.Site) { s.Name = "a\xff" }},
		{"latitude", func(s *usage.Site) { s.Latitude = 90.01 }},
		{"latitude NaN", func(s *usage.Site) { s.Latitude = math.NaN() }},
		{"longitude", func(s *usage.Site) { s.Longitude = -180.5 }},
		{"longitude infinite", func(s *usage.Site) { s.Longitude = math.Inf(1) }},
		{"no zone", func(s *usage.Site) { s.Zone = "" }},
		{"local zone", func(s *usage.Site) { s.Zone = "Local" }},
		{"unknown zone", func(s *usage.Site) { s.Zone = "Europe/Nowhere" }},
		{"zone out of the tree", func(s *usage.Site) { s.Zone = "../UTC" }},
		{"installed too early", func(s *usage.Site) { s.InstalledOn = usage.DateOf(1989, 12, 31) }},
		{"installed too late", func(s *usage.Site) { s.InstalledOn = usage.DateOf(2101, 1, 1) }},
		{"clock", func(s *usage.Site) { s.Clock = "sundial" }},
		{"date order", func(s *usage.Site) { s.Profile.DateOrder = "ydm" }},
		{"rattle", func(s *usage.Site) { s.Thresholds = usage.Thresholds{RattleS: -1, AjarS: 10} }},
		{"ajar within rattle", func(s *usage.Site) { s.Thresholds = usage.Thresholds{RattleS: 5, AjarS: 5} }},
		{"join", func(s *usage.Site) { s.Thresholds = usage.Thresholds{AjarS: 10, JoinS: 4000} }},
	} {
		site := testSite("MILL")
		test.spoil(&site)
		err := s.AddSite(t.Context(), site)
		wantKind(t, "AddSite with "+test.name, err, usage.Invalid)
		if f, ok := errors.AsType[*usage.Fault](err); ok && f.Try == "" {
			t.Errorf("AddSite with %s says nothing to try: %v", test.name, err)
		}
	}
	edge := testSite("ABCDEFG9")
	edge.Name, edge.Latitude, edge.Longitude = strings.Repeat("ß", 80), -90, 180
	if err := s.AddSite(t.Context(), edge); err != nil {
		t.Errorf("AddSite at the edges: %v", err)
	}
}

func TestChangeSite(t *testing.T) {
	s := openTest(t)
	mustKeep(t, s, "MILL", cardOf("LOG.TXT", invent(1, 30, 10)))
	err := s.ChangeSite(t.Context(), "MILL", func(site *usage.Site) error {
		site.Code, site.Name = "WEIR", "Weir"
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Site(t.Context(), "WEIR")
	if err != nil || got.Name != "Weir" || got.Cards != 1 || got.Totals.Openings == 0 {
		t.Errorf("Site(WEIR) = %+v, %v, want the card and openings of MILL", got.SiteSummary, err)
	}
	before := dumpAll(t, s)
	refuse := errors.New("no")
	for _, test := range []struct {
		name   string
		code   string
		change func(*usage.Site) error
		want   usage.Kind
	}{
		{"own error", "WEIR", func(site *usage.Site) error { site.Name = "x"; return refuse }, 0},
		{"bad field", "WEIR", func(site *usage.Site) error { site.Zone = ""; return nil }, usage.Invalid},
		{"code in use", "WEIR", func(site *usage.Site) error { site.Code = "QUAY"; return nil }, usage.Conflict},
		{"no such site", "MILL", func(*usage.Site) error { return nil }, usage.NotFound},
	} {
		err := s.ChangeSite(t.Context(), test.code, test.change)
		if err == nil {
			t.Errorf("ChangeSite, %s: no error", test.name)
		}
		wantKind(t, "ChangeSite, "+test.name, err, test.want)
	}
	if dumpAll(t, s) != before {
		t.Error("a refused change changed something")
	}
}
