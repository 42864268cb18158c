package server

import (
	"encoding/json"
	"net/http/httptest"
	"testing"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/web/chart"
)

// A page gives the live form of each of its figures to those who may see the page, and
// once as long as nothing changes; of a figure that it has not, it says so.
func TestLiveCharts(t *testing.T) {
	b, _ := lockedBox(t, nil)
	for _, path := range []string{
		"/sites/MILL?option=by-hour", "/sites/MILL?option=week&drawing=narrow", "/sites/MILL?season=2026-spring&option=by-weekday",
		"/sites/MILL/daylight?option=daylight",
	} {
		first := b.as(store.RoleReading, "GET", path)
		var live chart.Live
		if err := json.Unmarshal([]byte(first.body), &live); first.status != 200 || err != nil || live.Width == 0 || len(live.Option) == 0 {
			t.Errorf("GET %s = %d, %v, %.80s, want a chart", path, first.status, err, first.body)
			continue
		}
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("If-None-Match", first.header.Get("ETag"))
		r.Header.Set("Cookie", "doorleaf="+string(store.RoleReading))
		if again := b.do(r); first.header.Get("ETag") == "" || again.status != 304 || again.body != "" {
			t.Errorf("GET %s again = %d with %d bytes, ETag %q, want 304 with none", path, again.status, len(again.body), first.header.Get("ETag"))
		}
		if a := b.as("", "GET", path); a.status == 200 {
			t.Errorf("GET %s by nobody = 200, want it kept from them", path)
		}
	}
	for _, path := range []string{"/sites/MILL?option=tea", "/sites/MILL?option=", "/about-the-numbers?option=by-hour", "/sites/NOWHERE?option=by-hour"} {
		if a := b.as(store.RoleReading, "GET", path); a.status != 404 {
			t.Errorf("GET %s = %d, want 404", path, a.status)
		}
	}
	empty := newBox(t, importer.Limits{})
	if a := empty.get("/?option=map"); a.status != 404 {
		t.Errorf("GET /?option=map of an empty network = %d, want 404", a.status)
	}
}
