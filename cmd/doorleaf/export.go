package main

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"path/filepath"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
	reports "doorleaf/web/report"
)

type exportCommand struct {
	Format string `required:"" enum:"datapackage,geojson" help:"datapackage (a .zip of CSV files) or geojson (the sites with a season's figures)."`
	Out    string `required:"" type:"path" help:"File to write; one that is there is replaced." placeholder:"FILE"`
	Season string `help:"Season of the figures, for geojson: 2026-summer." placeholder:"S"`
	Coarse int    `help:"For publication: dates and hours only, and figures of fewer than N visits held back." placeholder:"N"`
}

func (exportCommand) Help() string {
	return "Example:\n  doorleaf export --format datapackage --out network.zip\n  doorleaf export --format datapackage --coarse 5 --out public.zip\n  doorleaf export --format geojson --season 2026-summer --out sites.geojson"
}

func (cmd *exportCommand) Run(c *console) error {
	if err := cmd.check(); err != nil {
		return err
	}
	s, err := c.open()
	if err != nil {
		return err
	}
	defer s.Close()
	write, err := cmd.writer(c, s)
	if err != nil {
		return err
	}
	if err := writeWhole(cmd.Out, write); err != nil {
		return fmt.Errorf("export to %s: %w", cmd.Out, err)
	}
	fmt.Fprintf(c.err, "wrote %s\n", cmd.Out)
	return nil
}

func (cmd *exportCommand) check() error {
	switch {
	case cmd.Coarse < 0:
		return &usage.Fault{Kind: usage.Invalid, What: "--coarse is less than nought", Try: "--coarse 5"}
	case cmd.Format == "geojson" && cmd.Season == "":
		return &usage.Fault{Kind: usage.Invalid, What: "geojson needs a season", Try: "--season 2026-summer"}
	case cmd.Format == "datapackage" && cmd.Season != "":
		return &usage.Fault{Kind: usage.Invalid, What: "a datapackage has all seasons", Try: "leave out --season"}
	}
	return nil
}

// writer returns what writes the format.
func (cmd *exportCommand) writer(c *console, s *store.Store) (func(io.Writer) error, error) {
	if cmd.Format == "geojson" {
		seasons, err := server.SeasonFigures(c.ctx, s, c.now, cmd.Season)
		if err != nil {
			return nil, err
		}
		return func(w io.Writer) error { return reports.WriteGeoJSON(w, seasons[0], cmd.Coarse) }, nil
	}
	n, err := exported(c, s)
	if err != nil {
		return nil, err
	}
	return func(w io.Writer) error { return reports.WritePackage(w, n, cmd.Coarse) }, nil
}

// exported is a store as the writers of data ask it.
func exported(c *console, s *store.Store) (reports.Network, error) {
	n := reports.Network{
		Openings: func(code string) iter.Seq2[reports.Opening, error] { return openingsOf(c, s, code) },
		Days: func(code string) ([]usage.Day, error) {
			return s.Days(c.ctx, code, math.MinInt32, math.MaxInt32)
		},
		Pattern: func(code string) (usage.Pattern, error) {
			months, err := s.Months(c.ctx, code)
			return usage.PatternOf(code, nil, months), err
		},
		Findings: func(code string) ([]usage.Finding, error) { return s.Findings(c.ctx, code) },
	}
	sites, err := s.Sites(c.ctx)
	if err != nil {
		return n, err
	}
	for _, site := range sites {
		n.Sites = append(n.Sites, site.Site)
	}
	n.Seasons, err = server.SeasonFigures(c.ctx, s, c.now)
	return n, err
}

// openingsOf goes along a site's logbook, a page at a time.
func openingsOf(c *console, s *store.Store, code string) iter.Seq2[reports.Opening, error] {
	return func(yield func(reports.Opening, error) bool) {
		for after := int64(-1); ; {
			page, next, err := s.Openings(c.ctx, code, store.Page{After: after, Limit: 10_000})
			if err != nil {
				yield(reports.Opening{}, err)
				return
			}
			for _, o := range page {
				if !yield(reports.Opening{Opening: o.Opening, Position: o.Position, CardID: o.CardID, Raw: o.Raw}, nil) {
					return
				}
			}
			if next < 0 {
				return
			}
			after = next
		}
	}
}

// writeWhole writes a file beside its place and moves it there when it is whole, so
// that a failure leaves nothing that looks like one.
func writeWhole(name string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".doorleaf-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	w := bufio.NewWriter(f)
	if err := write(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if err := f.Chmod(0o644); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
