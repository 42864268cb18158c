package server

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/web"
	"doorleaf/web/chart"
)

// impatient serves a network whose browsers are not kept waiting at all, and whose
// report waits for release.
func impatient(t *testing.T) (h http.Handler, season string, release func()) {
	t.Helper()
	b := newBox(t, importer.Limits{})
	b.keep(t, newSite("MILL", "Mill Lane"), []byte("2026-03-02 10:00:00,5\n2026-03-03 10:00:00,6\n2026-03-04 11:00:00,7\n"))
	s := &server{
		Config:  Config{Store: b.store, Charts: chart.New(ruler{}), Now: func() time.Time { return time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC) }}.withDefaults(),
		uploads: make(chan struct{}, 1), reports: make(chan struct{}, 1), tries: newTries(), stall: stallTime,
	}
	var err error
	if s.pages, err = web.Load(); err != nil {
		t.Fatal(err)
	}
	s.reports <- struct{}{} // another report is being made
	return s.routes(), "2026-spring", func() { <-s.reports }
}

func ask(h http.Handler, path, accept string) *httptest.ResponseRecorder {
	r := httptest.NewRequest("GET", path, nil)
	r.Host = "localhost"
	r.Header.Set("Accept", accept)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestReportInTheMaking(t *testing.T) {
	h, season, release := impatient(t)
	path := "/seasons/" + season + "/report.html"
	w := ask(h, path, "text/html,*/*")
	if w.Code != http.StatusOK || w.Header().Get("Refresh") != "1" || !strings.Contains(w.Body.String(), "The report on spring 2026 is being made") {
		t.Fatalf("GET %s = %d, refresh %q, want a page that looks again: %.300s", path, w.Code, w.Header().Get("Refresh"), w.Body)
	}
	release()
	for range 200 {
		if w = ask(h, path, "text/html,*/*"); w.Header().Get("Refresh") == "" {
			break
		}
		time.Sleep(25 * time.Millisecond)
	}
	if !strings.Contains(w.Body.String(), "Box by box") {
		t.Errorf("GET %s never gave way to the report: %.300s", path, w.Body)
	}
	if w = ask(h, path, "*/*"); w.Header().Get("Refresh") != "" {
		t.Errorf("a program was told to look again, want the report itself")
	}
}

func TestReportJobs(t *testing.T) {
	var jobs reportJobs
	runs, hold := 0, make(chan struct{})
	run := func(context.Context, func(done, all int)) ([]byte, error) {
		runs++
		<-hold
		panic("a drawing fell over")
	}
	one := jobs.join(t.Context(), "a", run)
	if two := jobs.join(t.Context(), "a", run); two != one {
		t.Error("the same report was begun twice")
	}
	close(hold)
	<-one.ready
	if runs != 1 || one.err == nil || !strings.Contains(one.err.Error(), "fell over") {
		t.Errorf("%d runs, error %v, want one whose panic is its error", runs, one.err)
	}
	jobs.forget("a", one)
	gone := errors.New("another")
	if two := jobs.join(t.Context(), "a", func(context.Context, func(done, all int)) ([]byte, error) { return nil, gone }); two == one {
		t.Error("a report that was fetched is given again")
	}
}
