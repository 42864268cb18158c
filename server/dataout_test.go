package server

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"doorleaf/importer"
)

// TestDataOut takes a network out in every form, as the page's own fields ask.
func TestDataOut(t *testing.T) {
	b, _ := usualBox(t)
	page := b.get("/data-out").page(t)
	seasons := find(page, "#season option")
	if len(seasons) == 0 {
		t.Fatal("no season to choose")
	}
	season := attr(seasons[0], "value")
	for _, tt := range []struct {
		name string
		form url.Values
		kind string
		file string
		has  []string // files of a .zip
		not  string
	}{
		{"tables", url.Values{"format": {"datapackage"}, "fine": {"yes"}, "season": {season}}, "application/zip", "doorleaf-tables.zip", []string{"datapackage.json", "openings.csv"}, "date_hours.csv"},
		{"coarse tables", url.Values{"format": {"datapackage"}, "least": {"5"}, "name": {"is not looked at"}}, "application/zip", "doorleaf-tables-coarse.zip", []string{"date_hours.csv"}, "openings.csv"},
		{"map", url.Values{"format": {"geojson"}, "season": {season}, "least": {"5"}}, "application/geo+json", "doorleaf-" + season + "-coarse.geojson", nil, ""},
		{"parquet", url.Values{"format": {"parquet"}, "name": {"larkbridge"}, "fine": {"yes"}, "least": {"x"}}, "application/zip", "larkbridge-parquet.zip", []string{"sites/part.parquet", "openings/site=MILL/year=2026/part.parquet"}, "date_hours"},
	} {
		a := b.get("/data-out/file?" + tt.form.Encode())
		if a.status != 200 || a.header.Get("Content-Type") != tt.kind || !strings.Contains(a.header.Get("Content-Disposition"), tt.file) {
			t.Errorf("%s = %d %s %s\n%.200s", tt.name, a.status, a.header.Get("Content-Type"), a.header.Get("Content-Disposition"), a.body)
			continue
		}
		if got := a.header.Get("Content-Length"); got != strconv.Itoa(len(a.body)) {
			t.Errorf("%s: Content-Length = %s, want %d", tt.name, got, len(a.body))
		}
		if tt.has == nil {
			if !json.Valid([]byte(a.body)) {
				t.Errorf("%s is no JSON", tt.name)
			}
			continue
		}
		z, err := zip.NewReader(strings.NewReader(a.body), int64(len(a.body)))
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		var names bytes.Buffer
		for _, f := range z.File {
			names.WriteString(f.Name + "\n")
		}
		for _, name := range tt.has {
			if !strings.Contains(names.String(), name+"\n") {
				t.Errorf("%s has no %s:\n%s", tt.name, name, names.String())
			}
		}
		if strings.Contains(names.String(), tt.not) {
			t.Errorf("%s has %s", tt.name, tt.not)
		}
	}
}

// TestDataOutRefuses shows the form again with what was typed and what is wrong.
func TestDataOutRefuses(t *testing.T) {
	b, _ := usualBox(t)
	for query, field := range map[string]string{
		"least=5":                           "format",
		"format=sheets&least=5":             "format",
		"format=geojson&least=5":            "season",
		"format=parquet&least=5&name=%2F..": "name",
		"format=datapackage&least=0":        "least",
		"format=datapackage&least=many":     "least",
		"format=datapackage":                "least",
	} {
		a := b.get("/data-out/file?" + query)
		if a.status != 400 || !slices.Equal(faultLinks(a, t), []string{"#" + field}) || len(find(a.page(t), "#"+field)) != 1 {
			t.Errorf("%q = %d without a link to %s", query, a.status, field)
		}
	}
	if a := b.get("/data-out/file?format=geojson&season=soon&least=5"); a.status != 400 || !strings.Contains(a.body, "soon") {
		t.Errorf("season soon = %d", a.status)
	}
	if a := newBox(t, importer.Limits{}).get("/data-out"); a.status != 200 || len(find(a.page(t), "form.fields")) != 0 {
		t.Errorf("data-out of nothing = %d with a form", a.status)
	}
}

// faultLinks are the fields that the head of a form with faults leads to.
func faultLinks(a answer, t *testing.T) (links []string) {
	t.Helper()
	for _, n := range find(a.page(t), ".trouble a") {
		links = append(links, attr(n, "href"))
	}
	return links
}
