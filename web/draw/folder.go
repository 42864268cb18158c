package draw

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"doorleaf/web/assets"
)

// folderBytes bounds the drawings that a folder holds; the oldest go first.
const folderBytes = 64 << 20

// folder keeps drawings in files, so that a program that is started again does not draw
// them again. Each file is a drawing compressed behind its SHA-256; one that is damaged
// or cut short is as if it were not there. Nothing is lost with the folder.
type folder struct {
	dir string // of this program's drawings: another program may draw otherwise
}

// openFolder makes the folder, throws drawings of other programs away and the oldest of
// its own where there are too many. It is nil where that cannot be.
func openFolder(dir string) *folder {
	mark, err := programMark()
	if dir == "" || err != nil {
		return nil
	}
	f := &folder{filepath.Join(dir, mark)}
	if err := os.MkdirAll(f.dir, 0o700); err != nil {
		return nil
	}
	if others, err := os.ReadDir(dir); err == nil {
		for _, o := range others {
			if o.IsDir() && o.Name() != mark && len(o.Name()) == len(mark) {
				os.RemoveAll(filepath.Join(dir, o.Name()))
			}
		}
	}
	f.prune()
	return f
}

// programMark tells this program from others that may draw otherwise.
func programMark() (string, error) {
	path, err := os.Executable()
	if err != nil {
		return "", err
	}
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	script, err := assets.Read(assets.ServerScript)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	fmt.Fprintln(h, info.Size(), info.ModTime().UnixNano())
	h.Write(script)
	return hex.EncodeToString(h.Sum(nil)[:8]), nil
}

// prune throws the oldest drawings away until the rest is no more than folderBytes.
func (f *folder) prune() {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return
	}
	var files []fs.FileInfo
	size := int64(0)
	for _, e := range entries {
		if info, err := e.Info(); err == nil {
			files, size = append(files, info), size+info.Size()
		}
	}
	slices.SortFunc(files, func(a, b fs.FileInfo) int { return cmp.Compare(a.ModTime().UnixNano(), b.ModTime().UnixNano()) })
	for _, info := range files {
		if size <= folderBytes {
			return
		}
		os.Remove(filepath.Join(f.dir, info.Name()))
		size -= info.Size()
	}
}

func (f *folder) path(key digest) string { return filepath.Join(f.dir, hex.EncodeToString(key[:])) }

// load returns a drawing; false where there is none, or none that is whole.
func (f *folder) load(key digest) ([]byte, bool) {
	if f == nil {
		return nil, false
	}
	data, err := os.ReadFile(f.path(key))
	if err != nil || len(data) < sha256.Size {
		return nil, false
	}
	z, err := gzip.NewReader(bytes.NewReader(data[sha256.Size:]))
	if err != nil {
		return nil, false
	}
	svg, err := io.ReadAll(z)
	if err != nil || f.sum(key, svg) != [sha256.Size]byte(data) {
		return nil, false
	}
	now := time.Now()
	os.Chtimes(f.path(key), now, now) // it is in use: prune lets it be
	return svg, true
}

// sum is what a file begins with: of the key too, so that one drawing is never shown in
// the place of another.
func (f *folder) sum(key digest, svg []byte) [sha256.Size]byte {
	h := sha256.New()
	h.Write(key[:])
	h.Write(svg)
	return [sha256.Size]byte(h.Sum(nil))
}

// save keeps a drawing. Where it cannot, the drawing will be made again.
func (f *folder) save(key digest, svg []byte) {
	if f == nil {
		return
	}
	var b bytes.Buffer
	sum := f.sum(key, svg)
	b.Write(sum[:])
	z := gzip.NewWriter(&b)
	z.Write(svg) // a buffer takes everything
	z.Close()
	file, err := os.CreateTemp(f.dir, ".new-*")
	if err != nil {
		return
	}
	_, err = file.Write(b.Bytes())
	if closed := file.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(file.Name(), f.path(key))
	}
	if err != nil {
		os.Remove(file.Name())
	}
}
