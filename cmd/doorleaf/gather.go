package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"doorleaf/importer"
	"doorleaf/usage"
)

// limitFlags are the limits of what one command reads.
type limitFlags struct {
	MostFiles  int   `default:"2000" help:"Look at no more files than this."`
	MostMB     int64 `name:"most-mb" default:"128" help:"Read no more megabytes of card files than this, all together."`
	MostCardMB int64 `name:"most-card-mb" default:"64" help:"Read no card file of more megabytes than this."`
}

func (l limitFlags) limits() importer.Limits {
	return importer.Limits{Files: l.MostFiles, TotalBytes: l.MostMB << 20, CardBytes: l.MostCardMB << 20}
}

// gather collects the card files of files, folders and .zip files. Found.Path
// of a file in a folder begins with the folder's own name.
func gather(paths []string, limits importer.Limits) (*importer.Collector, error) {
	got := importer.NewCollector(limits)
	for _, p := range paths {
		if err := gatherPath(got, p); err != nil {
			return nil, err
		}
	}
	return got, nil
}

func gatherPath(got *importer.Collector, p string) error {
	info, err := os.Stat(p)
	if err != nil {
		return &usage.Fault{Kind: usage.NotFound, What: p + ": no such file or folder", Try: "check the path"}
	}
	root, err := filepath.Abs(p)
	if err != nil {
		return fmt.Errorf("%s: %w", p, err)
	}
	if !info.IsDir() {
		if err := addFile(got, filepath.Join(filepath.Dir(root), importer.TagName), true, got.AddFile); err != nil {
			return err
		}
		return addFile(got, root, false, got.AddFile)
	}
	above := filepath.Dir(root)
	return filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		if !d.Type().IsRegular() {
			return nil
		}
		name, err := filepath.Rel(above, file)
		if err != nil {
			return err
		}
		return addFile(got, file, false, func(_ string, r io.Reader) error { return got.Add(filepath.ToSlash(name), r) })
	})
}

// addFile opens a file for add, under its name with slashes. A file that may be
// missing is passed over when it is.
func addFile(_ *importer.Collector, file string, may bool, add func(string, io.Reader) error) error {
	f, err := os.Open(file)
	if err != nil {
		if may && os.IsNotExist(err) {
			return nil
		}
		return err
	}
	defer f.Close()
	return add(filepath.ToSlash(file), f)
}

// fromHere writes the path of a file below the working folder without it.
func fromHere(p string) string {
	here, err := os.Getwd()
	if err != nil {
		return p
	}
	if rel, found := strings.CutPrefix(p, filepath.ToSlash(here)+"/"); found {
		return rel
	}
	return p
}

// reportSkipped names the files that were to be cards and cannot be, and
// reports whether there were any.
func reportSkipped(w io.Writer, got *importer.Collector) (refused bool) {
	for _, s := range got.Skipped() {
		if s.Refused {
			refused = true
			fmt.Fprintf(w, "doorleaf: %s: refused: %s\n", oneLine(fromHere(s.Path)), oneLine(s.Why))
		}
	}
	return refused
}
