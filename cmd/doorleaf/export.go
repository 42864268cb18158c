package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
)

type exportCommand struct {
	Format  string `required:"" enum:"datapackage,geojson,parquet" help:"datapackage (a .zip of CSV files), geojson (the sites with a season's figures) or parquet (for an engine that queries many networks)."`
	Out     string `required:"" type:"path" help:"File to write; one that is there is replaced. For parquet a folder or a .zip, which must not be there yet." placeholder:"FILE"`
	Season  string `help:"Season of the figures, for geojson: 2026-summer." placeholder:"S"`
	Coarse  int    `help:"For publication: dates and hours only, and figures of fewer than N visits held back." placeholder:"N"`
	Network string `help:"Name of the network in every row, for parquet; the name of the data folder where left out." placeholder:"NAME"`
}

func (exportCommand) Help() string {
	return "Example:\n  doorleaf export --format datapackage --out network.zip\n  doorleaf export --format datapackage --coarse 5 --out public.zip\n  doorleaf export --format geojson --season 2026-summer --out sites.geojson\n  doorleaf export --format parquet --network larkbridge --out larkbridge"
}

func (cmd *exportCommand) Run(c *console) error {
	export := server.Export{Format: cmd.Format, Season: cmd.Season, Coarse: cmd.Coarse, Name: cmd.Network}
	if export.Name == "" {
		export.Name = nameOfFolder(c.data)
	}
	if err := export.Check(); err != nil {
		return err
	}
	if cmd.Format == "parquet" {
		if err := mustBeFree(cmd.Out); err != nil {
			return err
		}
	}
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	if err := cmd.write(c, s, export); err != nil {
		return fmt.Errorf("export to %s: %w", cmd.Out, err)
	}
	fmt.Fprintf(c.err, "wrote %s\n", cmd.Out)
	return nil
}

func (cmd *exportCommand) write(c *console, s *store.Store, export server.Export) error {
	if cmd.Format == "parquet" && !strings.EqualFold(filepath.Ext(cmd.Out), ".zip") {
		return folderWhole(cmd.Out, func(dir string) error { return export.WriteFolder(c.ctx, s, dir) })
	}
	return writeWhole(cmd.Out, func(w io.Writer) error { return export.Write(c.ctx, s, c.now, w) })
}

// nameOfFolder makes a network's name of its data folder's.
func nameOfFolder(data string) string {
	name := regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(strings.ToLower(filepath.Base(data)), "-")
	name = strings.Trim(name[:min(len(name), 40)], "-")
	if name == "" {
		return "network"
	}
	return name
}

// mustBeFree refuses to write where something is.
func mustBeFree(name string) error {
	_, err := os.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return &usage.Fault{Kind: usage.Conflict, What: name + " is there already", Try: "give another name, or move that away first"}
}

// folderWhole fills a folder beside its place and moves it there when it is whole.
func folderWhole(name string, fill func(dir string) error) error {
	dir, err := os.MkdirTemp(filepath.Dir(name), ".doorleaf-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := fill(dir); err != nil {
		return err
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		return err
	}
	if err := mustBeFree(name); err != nil {
		return err
	}
	return os.Rename(dir, name)
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
