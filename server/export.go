package server

import (
	"archive/zip"
	"bufio"
	"context"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"time"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/report"
)

// Export is what a network is to be written as.
type Export struct {
	Format string // datapackage, geojson or parquet
	Season string // of the figures, for geojson
	Coarse int    // above 0: made for publication, figures of fewer visits held back
	Name   string // of the network, for parquet
}

// networkName is what a network may be called where several are together.
var networkName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// Check returns a usage.Fault for an export that makes no sense.
func (e Export) Check() error {
	switch {
	case e.Format != "datapackage" && e.Format != "geojson" && e.Format != "parquet":
		return invalid(fmt.Sprintf("format %q is not known", e.Format), "datapackage, geojson or parquet")
	case e.Coarse < 0:
		return invalid("coarse is less than nought", "--coarse 5")
	case e.Format == "geojson" && e.Season == "":
		return invalid("geojson needs a season", "--season 2026-summer")
	case e.Format != "geojson" && e.Season != "":
		return invalid("a "+e.Format+" has all seasons", "leave out --season")
	case e.Format == "parquet" && !networkName.MatchString(e.Name):
		return invalid(fmt.Sprintf("network %q is no name for a network", e.Name), "up to 40 of a-z, 0-9 and hyphens: --network larkbridge")
	}
	return nil
}

// Write writes an export to one file; Parquet files go into a .zip, for which they
// stand in a folder for temporary files until it is done. Errors: those of Check,
// and a usage.Fault of kind Conflict where the network was changed meanwhile.
func (e Export) Write(ctx context.Context, network Network, now func() time.Time, w io.Writer) error {
	if err := e.Check(); err != nil {
		return err
	}
	if e.Format == "parquet" {
		return e.zipped(ctx, network, w)
	}
	return unchanged(ctx, network, func() error {
		if e.Format == "geojson" {
			seasons, err := SeasonFigures(ctx, network, now, e.Season)
			if err != nil {
				return err
			}
			return report.WriteGeoJSON(w, seasons[0], e.Coarse)
		}
		n, err := exported(ctx, network)
		if err != nil {
			return err
		}
		if n.Seasons, err = SeasonFigures(ctx, network, now); err != nil {
			return err
		}
		return report.WritePackage(w, n, e.Coarse)
	})
}

// WriteFolder writes Parquet files into a folder, which must be empty. Errors are
// those of Write; the folder may then hold a part of them.
func (e Export) WriteFolder(ctx context.Context, network Network, dir string) error {
	if err := e.Check(); err != nil {
		return err
	}
	return unchanged(ctx, network, func() error {
		n, err := exported(ctx, network)
		if err != nil {
			return err
		}
		n.Name = e.Name
		return report.WriteParquet(createIn(dir), n, e.Coarse)
	})
}

// zipped writes Parquet files and puts them into one .zip.
func (e Export) zipped(ctx context.Context, network Network, w io.Writer) error {
	dir, err := os.MkdirTemp("", "doorleaf-export-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := e.WriteFolder(ctx, network, dir); err != nil {
		return err
	}
	return zipFolder(w, os.DirFS(dir))
}

// zipFolder writes the files of a folder to a .zip by name and without times, as
// they are: Parquet is compressed already.
func zipFolder(w io.Writer, files fs.FS) error {
	z := zip.NewWriter(w)
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		in, err := files.Open(name)
		if err != nil {
			return err
		}
		defer in.Close()
		out, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			return err
		}
		_, err = io.Copy(out, in)
		return err
	})
	if err != nil {
		return err
	}
	return z.Close()
}

// createIn makes files below a folder, with the folders that they need.
func createIn(dir string) report.CreateFile {
	return func(name string) (io.WriteCloser, error) {
		file := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			return nil, err
		}
		f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return nil, err
		}
		return buffered{bufio.NewWriterSize(f, 64<<10), f}, nil
	}
}

// buffered is a file that is written in larger pieces. Closing it again is an error
// and does no harm.
type buffered struct {
	*bufio.Writer
	file *os.File
}

func (b buffered) Close() error {
	err := b.Flush()
	if closing := b.file.Close(); err == nil {
		err = closing
	}
	return err
}

// unchanged runs what reads a network piece by piece, and refuses what it has read
// when cards or sites were changed meanwhile: its parts may not agree.
func unchanged(ctx context.Context, network Network, read func() error) error {
	before, err := network.Sites(ctx)
	if err != nil {
		return err
	}
	if err := read(); err != nil {
		return err
	}
	after, err := network.Sites(ctx)
	if err != nil {
		return err
	}
	if !reflect.DeepEqual(before, after) {
		return &usage.Fault{Kind: usage.Conflict, What: "the network was changed while it was written", Try: "write it again"}
	}
	return nil
}

// exported is a network as the writers of data ask it, but for its seasons.
func exported(ctx context.Context, network Network) (report.Network, error) {
	n := report.Network{
		Openings: func(code string) iter.Seq2[report.Opening, error] { return openingsOf(ctx, network, code) },
		Days: func(code string) ([]usage.Day, error) {
			return network.Days(ctx, code, math.MinInt32, math.MaxInt32)
		},
		Pattern: func(code string) (usage.Pattern, error) {
			months, err := network.Months(ctx, code)
			return usage.PatternOf(code, nil, months), err
		},
		Findings: func(code string) ([]usage.Finding, error) { return network.Findings(ctx, code) },
	}
	sites, err := network.Sites(ctx)
	for _, site := range sites {
		n.Sites = append(n.Sites, site.Site)
	}
	return n, err
}

// openingsOf goes along a site's logbook, a page at a time.
func openingsOf(ctx context.Context, network Network, code string) iter.Seq2[report.Opening, error] {
	return func(yield func(report.Opening, error) bool) {
		for after := int64(-1); ; {
			page, next, err := network.Openings(ctx, code, store.Page{After: after, Limit: 10_000})
			if err != nil {
				yield(report.Opening{}, err)
				return
			}
			for _, o := range page {
				if !yield(report.Opening{Opening: o.Opening, Position: o.Position, CardID: o.CardID, Raw: o.Raw}, nil) {
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

// SeasonFigures returns the figures of the named seasons of a network, or of all
// that have any, the latest first: the same as those of the season pages. What
// else a report.Season can hold is left empty. The error for a name that is no
// season is a usage.Fault.
func SeasonFigures(ctx context.Context, network Network, now func() time.Time, names ...string) ([]report.Season, error) {
	s := &server{Config: Config{Store: network, Now: now}}
	all, err := s.allSeasons(ctx)
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		names = seasonNames(all)
	}
	seasons := make([]report.Season, len(names))
	for i, name := range names {
		n, err := s.seasonNamed(name, all)
		if err != nil {
			return nil, err
		}
		seasons[i] = figuresFor(n)
	}
	return seasons, nil
}

func figuresFor(n networkSeason) report.Season {
	out := report.Season{Name: n.name, Title: web.SeasonWords(n.season), Network: n.figures}
	for _, site := range n.sites {
		out.Sites = append(out.Sites, report.Site{Site: site.Site, Figures: site.figures})
	}
	return out
}
