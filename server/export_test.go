package server

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"time"

	"doorleaf/store"
	"doorleaf/usage"
)

// restless is a network that somebody else changes each time its sites are read.
type restless struct {
	*store.Store
	t *testing.T
	n int
}

func (r *restless) Sites(ctx context.Context) ([]store.SiteSummary, error) {
	r.n++
	if err := r.Store.ChangeSite(ctx, "MILL", func(s *usage.Site) error { s.Longitude = float64(r.n); return nil }); err != nil {
		r.t.Error(err)
	}
	return r.Store.Sites(ctx)
}

// TestExportOfChangingNetwork refuses what was read while the network changed.
func TestExportOfChangingNetwork(t *testing.T) {
	b, _ := usualBox(t)
	clock := func() time.Time { return noon }
	for _, e := range []Export{{Format: "datapackage"}, {Format: "geojson", Season: "2026-spring"}, {Format: "parquet", Name: "larkbridge"}} {
		var out bytes.Buffer
		if err := e.Write(t.Context(), b.store, clock, &out); err != nil {
			t.Errorf("%s of a network at rest: %v", e.Format, err)
		}
		var fault *usage.Fault
		if err := e.Write(t.Context(), &restless{Store: b.store, t: t}, clock, &out); !errors.As(err, &fault) || fault.Kind != usage.Conflict {
			t.Errorf("%s of a network that changes: %v, want a conflict", e.Format, err)
		}
	}
}

func TestExportCheck(t *testing.T) {
	for _, e := range []Export{
		{}, {Format: "sheets"}, {Format: "geojson"}, {Format: "datapackage", Coarse: -1}, {Format: "datapackage", Season: "2026-spring"},
		{Format: "parquet"}, {Format: "parquet", Name: "A"}, {Format: "parquet", Name: "../x"}, {Format: "parquet", Name: "a", Season: "2026-spring"},
	} {
		var fault *usage.Fault
		if err := e.Check(); !errors.As(err, &fault) || fault.Kind != usage.Invalid || fault.Try == "" {
			t.Errorf("Check(%+v) = %v, want a fault with a hint", e, err)
		}
	}
}
