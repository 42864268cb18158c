//go:build unix

package server

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"syscall"
	"testing"
	"time"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
)

// busyCard is a card that ends at noon, with about perDay openings a day at hours that
// shift from day to day.
func busyCard(days, perDay, seed int) []byte {
	var b bytes.Buffer
	for day := range days {
		date := noon.AddDate(0, 0, day-days)
		for i := range perDay - (day+seed)%3 {
			at := date.Truncate(24 * time.Hour).Add(7*time.Hour + time.Duration(i*(15*3600/perDay)+(day*day*37+i*i*101+seed*13)%1800)*time.Second)
			fmt.Fprintf(&b, "%s,%d\n", at.Format("Mon,2006-01-02,15:04:05"), 5+(day*31+i*17)%90)
		}
	}
	return b.Bytes()
}

// busyBox serves a network of so many sites, each of so many days and openings a day,
// with charts that are really drawn.
func busyBox(tb testing.TB, sites, days, perDay int) *box {
	tb.Helper()
	st, err := store.Open(tb.Context(), tb.TempDir(), store.Options{Now: func() time.Time { return noon }})
	if err != nil {
		tb.Fatal(err)
	}
	engine := draw.New(draw.Options{Machines: 2})
	tb.Cleanup(func() { engine.Close(); st.Close() })
	for i := range sites {
		site := newSite(fmt.Sprintf("S%d", i), fmt.Sprintf("Box %d", i))
		site.InstalledOn = usage.DateOf(2016, 1, 1)
		site.Latitude += float64(i/32) * 0.004
		site.Longitude += float64(i%32) * 0.006
		if err := st.AddSite(tb.Context(), site); err != nil {
			tb.Fatal(err)
		}
		if _, err := st.Keep(tb.Context(), site.Code, []store.CardIn{{Name: "LOG.TXT", Bytes: busyCard(days, perDay, i)}}); err != nil {
			tb.Fatal(err)
		}
	}
	b := &box{store: st, log: &bytes.Buffer{}}
	b.Handler, err = New(Config{
		Store: st, Charts: chart.New(engine), Now: func() time.Time { return noon },
		Log: slog.New(slog.NewTextHandler(b.log, nil)),
	})
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// processor is the processor time that the process has taken, which says more than the
// time of day where a machine has other things to do.
func processor() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// look gets a page as a browser does.
func (b *box) look(tb testing.TB, path string) {
	tb.Helper()
	r := httptest.NewRequest("GET", path, nil)
	r.Host = "localhost:8080"
	r.Header.Set("Accept-Encoding", "gzip")
	w := httptest.NewRecorder()
	b.ServeHTTP(w, r)
	if w.Code != http.StatusOK {
		tb.Fatalf("GET %s = %d, want 200\n%s", path, w.Code, w.Body)
	}
}

// BenchmarkSitePage times the page of a box with a year and with ten years of twenty
// openings a day, all drawings made.
func BenchmarkSitePage(b *testing.B) {
	for _, years := range []int{1, 10} {
		served := busyBox(b, 1, years*365, 20)
		for _, path := range []string{"/sites/S0", "/sites/S0?season=2026-spring", "/sites/S0/visits", "/sites/S0/openings", "/sites/S0/power", "/sites/S0/restock", "/sites/S0/daylight", "/sites/S0/light", "/round", "/api/sites/S0/pattern"} {
			b.Run(fmt.Sprintf("years=%d%s", years, path), func(b *testing.B) {
				served.look(b, path)
				b.ReportAllocs()
				begun := processor()
				for b.Loop() {
					served.look(b, path)
				}
				b.ReportMetric(float64((processor()-begun).Microseconds())/1000/float64(b.N), "cpu-ms/op")
			})
		}
	}
}

// BenchmarkNetworkPage times the pages of all boxes.
func BenchmarkNetworkPage(b *testing.B) {
	for _, sites := range []int{10, 100, 1000} {
		served := busyBox(b, sites, 90, 4)
		for _, path := range []string{"/", "/seasons", "/seasons/2026-spring", "/round", "/api/sites", "/api/seasons/2026-spring"} {
			b.Run(fmt.Sprintf("sites=%d%s", sites, path), func(b *testing.B) {
				served.look(b, path)
				b.ReportAllocs()
				begun := processor()
				for b.Loop() {
					served.look(b, path)
				}
				b.ReportMetric(float64((processor()-begun).Microseconds())/1000/float64(b.N), "cpu-ms/op")
			})
		}
	}
}
