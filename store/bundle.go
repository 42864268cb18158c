package store

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"slices"
	"strings"
	"time"

	"doorleaf/usage"
)

// A bundle is everything that is kept of a network, or of one site, in one .zip file
// of an open form:
//
//	manifest.json          what it is, and every other part with its SHA-256 and length
//	tables/NAME.json       the rows of a kept table, one to a line
//	cards/SHA256.txt       the card files, byte for byte
//
// It holds nothing that can be worked out again, no passphrase and nobody's session.
// The same data gives the same bytes: parts stand in a fixed order with a fixed time.
const (
	bundleForm    = "doorleaf bundle"
	bundleVersion = 1
	manifestPart  = "manifest.json"
	tableFolder   = "tables/"
	cardFolder    = "cards/"
)

// partTime stands on every part of a bundle: the earliest that a .zip can say.
var partTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// manifest is the first part of a bundle.
type manifest struct {
	Form    string `json:"form"`
	Version int    `json:"version"`
	Tables  int64  `json:"tables"` // version of the table layout that it was written from
	Parts   []part `json:"parts"`
}

// part is one of the other parts.
type part struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Bundled says what was written into a bundle.
type Bundled struct {
	Sites, Cards int
	CardBytes    int64 // of the card files together, not compressed
}

// WriteBundle writes everything that is kept, or all of one site where code is not
// "", as a bundle, all of one commit. The lines of the journal of other sites and of
// the network stay out of a site's bundle.
func (s *Store) WriteBundle(ctx context.Context, w io.Writer, code string) (Bundled, error) {
	var done Bundled
	err := s.read(ctx, func(q querier) error {
		if code != "" {
			if _, err := findSite(ctx, q, code); err != nil {
				return err
			}
		}
		all, err := layouts(ctx, q)
		if err != nil {
			return err
		}
		kept, err := readKept(ctx, q, all)
		if err != nil {
			return err
		}
		if code != "" {
			kept = kept.only(code)
		}
		done, err = writeBundle(ctx, q, w, all, kept)
		return err
	})
	if err != nil {
		return Bundled{}, fmt.Errorf("write bundle: %w", err)
	}
	return done, nil
}

// only returns the rows of one site.
func (k keptRows) only(code string) keptRows {
	of := keptRows{}
	for table, rows := range k {
		column := "site"
		if table == "site" {
			column = "code"
		}
		for _, r := range rows {
			if r.text(column) == code {
				of[table] = append(of[table], r)
			}
		}
	}
	return of
}

func writeBundle(ctx context.Context, q querier, w io.Writer, all []layout, kept keptRows) (Bundled, error) {
	done := Bundled{Sites: len(kept["site"]), Cards: len(kept["card"])}
	m := manifest{Form: bundleForm, Version: bundleVersion}
	var err error
	if m.Tables, err = newestMigration(); err != nil {
		return done, err
	}
	tables := make([][]byte, len(all))
	for i := range all {
		tables[i] = encode(kept[all[i].name])
		sum := sha256.Sum256(tables[i])
		m.Parts = append(m.Parts, part{tableFolder + all[i].name + ".json", int64(len(tables[i])), hex.EncodeToString(sum[:])})
	}
	ids := make([]string, 0, len(kept["card"]))
	for _, r := range kept["card"] {
		size, _ := r.number("size")
		ids = append(ids, r.key)
		m.Parts = append(m.Parts, part{cardPart(r.key), size, r.key})
		done.CardBytes += size
	}
	slices.SortFunc(m.Parts[len(all):], func(a, b part) int { return strings.Compare(a.Path, b.Path) })
	slices.Sort(ids)
	head, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return done, err
	}
	z := zip.NewWriter(w)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.DefaultCompression) })
	if err := addPart(z, manifestPart, append(head, '\n')); err != nil {
		return done, err
	}
	for i := range all {
		if err := addPart(z, m.Parts[i].Path, tables[i]); err != nil {
			return done, err
		}
	}
	for _, id := range ids {
		data, err := cardBytes(ctx, q, id)
		if err == nil {
			err = addPart(z, cardPart(id), data)
		}
		if err != nil {
			return done, err
		}
	}
	return done, z.Close()
}

func cardPart(id string) string { return cardFolder + id + ".txt" }

func addPart(z *zip.Writer, name string, data []byte) error {
	w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: partTime})
	if err == nil {
		_, err = w.Write(data)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// BundleLimits bound what a bundle may make its reader do.
type BundleLimits struct {
	Bytes int64 // of all parts together, unpacked
	Parts int
}

// DefaultBundleLimits leave room for sixty boxes and decades.
var DefaultBundleLimits = BundleLimits{Bytes: 4 << 30, Parts: 100_000}

// Bundle is a bundle that was opened and found whole: every part is there, none is
// strange, and all have the digests that the manifest says.
type Bundle struct {
	Name   string
	head   manifest
	parts  map[string]*zip.File
	tables map[string][]byte
}

// ReadBundle opens a bundle of size bytes and checks it. name stands in errors, which
// are Invalid, Conflict for one of a newer Doorleaf, or TooLarge. r is read from as
// long as the bundle is in use.
func ReadBundle(r io.ReaderAt, size int64, name string, limits BundleLimits) (*Bundle, error) {
	b := &Bundle{Name: name, parts: map[string]*zip.File{}, tables: map[string][]byte{}}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, b.fault("is no bundle", err)
	}
	if len(z.File) > limits.Parts {
		return nil, b.tooLarge(fmt.Sprintf("holds more than %d parts", limits.Parts))
	}
	for _, f := range z.File {
		if b.parts[f.Name] != nil {
			return nil, b.fault(fmt.Sprintf("holds %q twice", shorten(f.Name)), nil)
		}
		b.parts[f.Name] = f
	}
	if err := b.readHead(limits); err != nil {
		return nil, err
	}
	for _, p := range b.head.Parts {
		if err := b.checkPart(p); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// OpenBundle is ReadBundle on a file, which the caller closes when done.
func OpenBundle(file string, limits BundleLimits) (*Bundle, io.Closer, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, nil, fileFault("the bundle", err)
	}
	info, err := f.Stat()
	if err == nil {
		var b *Bundle
		if b, err = ReadBundle(f, info.Size(), file, limits); err == nil {
			return b, f, nil
		}
	}
	return nil, nil, errors.Join(err, f.Close())
}

func (b *Bundle) fault(what string, err error) error {
	return &usage.Fault{
		Kind: usage.Invalid, What: b.Name + " " + what, Err: err,
		Try: "ask for the bundle again: it was damaged on its way, or it is another file; nothing was changed",
	}
}

func (b *Bundle) tooLarge(what string) error {
	return &usage.Fault{Kind: usage.TooLarge, What: b.Name + " " + what, Try: "ask whoever made it for bundles of single sites; nothing was changed"}
}

// maxManifest bounds the manifest, bytes.
const maxManifest = 64 << 20

func (b *Bundle) readHead(limits BundleLimits) error {
	f := b.parts[manifestPart]
	if f == nil {
		return b.fault("is no bundle: it has no "+manifestPart, nil)
	}
	data, err := readPart(f, maxManifest)
	if err != nil {
		return b.fault("is damaged in "+manifestPart, err)
	}
	if err := json.Unmarshal(data, &b.head); err != nil || b.head.Form != bundleForm {
		return b.fault("is no bundle: its "+manifestPart+" says something else", err)
	}
	newest, err := newestMigration()
	if err != nil {
		return err
	}
	if b.head.Version != bundleVersion || b.head.Tables > newest {
		return &usage.Fault{
			Kind: usage.Conflict,
			What: fmt.Sprintf("%s was written by a newer Doorleaf (form %d, tables of version %d; this one knows %d and %d)", b.Name, b.head.Version, b.head.Tables, bundleVersion, newest),
			Try:  "use the newer Doorleaf; nothing was changed",
		}
	}
	total := int64(0)
	for _, p := range b.head.Parts {
		if p.Bytes < 0 || p.Bytes > limits.Bytes-total {
			return b.tooLarge(fmt.Sprintf("unpacks to more than %d MB", limits.Bytes>>20))
		}
		total += p.Bytes
	}
	if len(b.head.Parts) != len(b.parts)-1 {
		return b.fault(fmt.Sprintf("holds %d parts beside its manifest, which names %d", len(b.parts)-1, len(b.head.Parts)), nil)
	}
	return nil
}

// checkPart reads a part and compares it with what the manifest says of it. Tables
// are held, cards are read again when they are needed.
func (b *Bundle) checkPart(p part) error {
	f := b.parts[p.Path]
	folder, name := path.Split(p.Path)
	table, isTable := strings.CutSuffix(name, ".json")
	isTable = isTable && folder == tableFolder
	if f == nil || !isTable && (folder != cardFolder || name != p.SHA256+".txt") {
		return b.fault(fmt.Sprintf("names a part %q that is not there or that no bundle has", shorten(p.Path)), nil)
	}
	if isTable && !slices.ContainsFunc(keptTables, func(t keptTable) bool { return t.name == table }) {
		return b.fault(fmt.Sprintf("holds a table %q that no network has", shorten(table)), nil)
	}
	if b.tables[table] != nil {
		return b.fault("holds a part twice", nil)
	}
	data, err := readPart(f, p.Bytes)
	sum := sha256.Sum256(data)
	if err != nil || hex.EncodeToString(sum[:]) != p.SHA256 {
		return b.fault("is damaged in "+p.Path, err)
	}
	if isTable {
		b.tables[table] = data
	}
	return nil
}

var errLength = errors.New("it is longer than it says")

// readPart reads a part of at most most bytes.
func readPart(f *zip.File, most int64) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	var data bytes.Buffer
	n, err := io.Copy(&data, io.LimitReader(r, most+1))
	if err == nil && n > most {
		err = errLength
	}
	return data.Bytes(), err
}

// card returns the bytes of a card of the bundle.
func (b *Bundle) card(id string) ([]byte, error) {
	f := b.parts[cardPart(id)]
	if f == nil {
		return nil, b.fault(fmt.Sprintf("lacks the bytes of card %s", shorten(id)), nil)
	}
	data, err := readPart(f, maxBody)
	if err == nil && cardID(data) != id {
		err = errLength
	}
	if err != nil {
		return nil, b.fault("is damaged in "+cardPart(id), err)
	}
	return data, nil
}

// rows returns the rows of the bundle's tables in the form of this network.
func (b *Bundle) rows(all []layout) (keptRows, error) {
	kept := keptRows{}
	for i := range all {
		if b.tables[all[i].name] == nil {
			continue // written before there was such a table
		}
		rows, err := decode(&all[i], b.tables[all[i].name])
		if err != nil {
			return nil, b.fault("is damaged", err)
		}
		if err := checkKeys(&all[i], rows); err != nil {
			return nil, b.fault("is damaged", err)
		}
		kept[all[i].name] = rows
	}
	if len(kept["card"]) != len(b.head.Parts)-len(b.tables) {
		return nil, b.fault("holds other cards than it names", nil)
	}
	return kept, nil
}

// checkKeys sees to it that rows have the keys that belong to what they hold, each
// once in its site, and that they name a site.
func checkKeys(l *layout, rows []record) error {
	seen := map[string]bool{}
	for i := range rows {
		r := &rows[i]
		base, _, _ := strings.Cut(r.key, "/")
		at := r.text("site") + " " + r.key
		if seen[at] || base != l.keyOf(r) && len(r.values) == len(l.columns) {
			return fmt.Errorf("%s, row %d: its key is not its own", l.name, i+1)
		}
		seen[at] = true
	}
	return nil
}
