package importer

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"path"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"doorleaf/usage"
)

// Limits bound what one import may bring. They are settings.
type Limits struct {
	CardBytes  int64 // of one card file
	TotalBytes int64 // of all card files of one import, unpacked
	Files      int   // files looked at, those in a .zip included
}

// DefaultLimits hold a pocketful of ten-year cards with room to spare: a row
// takes some 30 bytes, twenty openings a day make 2 MB in ten years.
var DefaultLimits = Limits{CardBytes: 64 << 20, TotalBytes: 128 << 20, Files: 2000}

// TagName is the file that names a card's site. It is written when the card is
// prepared and lies beside the card file.
const TagName = "DOORLEAF.TXT"

// Found is a card file that an import brought.
type Found struct {
	Path   string // as it came, with slashes
	Name   string // last element of Path
	Folder string // Path without Name; "" for a file on its own
	Tag    string // site code from the tag file beside it, "" without one
	Bytes  []byte // nil where they were packed
	Packed []byte // what PackWith's function made of them
}

// Skip is a file that an import passed over.
type Skip struct {
	Path    string
	Why     string
	Refused bool // it was to be a card and cannot be one; false: it is none
}

// Collector gathers card files from uploads, folders and .zip files, within
// limits. The zero value is not ready; use NewCollector.
type Collector struct {
	limits  Limits
	files   int
	total   int64
	found   []Found
	skipped []Skip
	tags    map[string]string // folder → site code
	pack    func([]byte) ([]byte, error)
}

// NewCollector returns a Collector with the given limits.
func NewCollector(limits Limits) *Collector {
	return &Collector{limits: limits, tags: map[string]string{}}
}

// PackWith lets pack make each card's bytes smaller as soon as they are read, so that
// no two cards stand in memory in full. Found then has Packed and no Bytes.
func (c *Collector) PackWith(pack func(data []byte) ([]byte, error)) { c.pack = pack }

// Resume counts what an import has brought already in an earlier part, so that its
// limits hold for all of its parts together.
func (c *Collector) Resume(files int, bytes int64) {
	c.files += files
	c.total += bytes
}

// Add takes in one file. A file in a folder is passed over when its name is no
// card file's; a file on its own is always read. A .zip is opened, a .zip
// inside it is not. The error is a limit of the whole import that was passed
// or a failure to read; then the import must end.
func (c *Collector) Add(name string, r io.Reader) error {
	return c.add(name, r, !strings.Contains(name, "/"))
}

// AddFile is Add for a file that somebody named: it is always read.
func (c *Collector) AddFile(name string, r io.Reader) error { return c.add(name, r, true) }

func (c *Collector) add(name string, r io.Reader, named bool) error {
	if err := c.count(); err != nil {
		return err
	}
	if why := oddName(name); why != "" {
		c.skip(shortName(name), why, true)
		return nil
	}
	switch base := path.Base(name); {
	case strings.EqualFold(base, TagName):
		return c.addTag(name, r)
	case strings.EqualFold(path.Ext(base), ".zip"):
		return c.addZip(name, r)
	case !named && !Candidate(name):
		c.skip(name, "its name is no card file's", false)
		return nil
	}
	return c.addCard(name, r)
}

// Limits of a name. FAT file names have 255 characters at most (Microsoft, FAT32
// File System Specification, 2000, page 26); the depth is common practice, no source.
const (
	nameRunes = 255
	pathBytes = 4096
	pathDepth = 32
)

// oddName says why a name is none that a card's folder can have; "" if it can.
func oddName(name string) string {
	switch {
	case len(name) > pathBytes || utf8.RuneCountInString(path.Base(name)) > nameRunes:
		return fmt.Sprintf("its name is longer than %d characters", nameRunes)
	case strings.Count(name, "/") > pathDepth:
		return fmt.Sprintf("it lies more than %d folders deep", pathDepth)
	}
	return ""
}

// shortName shortens a name that is too long to be shown.
func shortName(name string) string {
	if runes := []rune(name); len(runes) > 80 {
		return string(runes[:80]) + "…"
	}
	return name
}

func (c *Collector) count() error {
	c.files++
	if c.files > c.limits.Files {
		return &usage.Fault{
			Kind: usage.TooLarge,
			What: fmt.Sprintf("more than %d files at once", c.limits.Files),
			Try:  "bring the folders of the cards themselves, a few at a time, or raise the limit with --most-files",
		}
	}
	return nil
}

func (c *Collector) skip(name, why string, refused bool) {
	c.skipped = append(c.skipped, Skip{Path: name, Why: why, Refused: refused})
}

func (c *Collector) addCard(name string, r io.Reader) error {
	data, err := c.read(name, r)
	if err != nil || data == nil {
		return err
	}
	dir, base := path.Split(name)
	found := Found{Path: name, Name: base, Folder: strings.TrimSuffix(dir, "/"), Bytes: data}
	if c.pack != nil {
		if found.Packed, err = c.pack(data); err != nil {
			return fmt.Errorf("pack %s: %w", name, err)
		}
		found.Bytes = nil
	}
	c.found = append(c.found, found)
	return nil
}

// read reads a card file within the limits. It returns nil, nil for one that
// is too large by itself, which is noted as refused.
func (c *Collector) read(name string, r io.Reader) ([]byte, error) {
	read, err := c.readPieces(name, r)
	if read == nil {
		return nil, err
	}
	return read.joined(), err
}

// readPieces is read without the copy that makes one piece of them.
func (c *Collector) readPieces(name string, r io.Reader) (*pieces, error) {
	tooLarge := fmt.Sprintf("larger than %s, the limit of one card file", Megabytes(c.limits.CardBytes))
	hint := sizeOf(r)
	if hint > c.limits.CardBytes {
		c.skip(name, tooLarge, true)
		return nil, nil
	}
	read, err := readUpTo(r, hint, c.limits.CardBytes)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	if read == nil {
		c.skip(name, tooLarge, true)
		return nil, nil
	}
	if c.total += read.size; c.total > c.limits.TotalBytes {
		return nil, c.tooMuch()
	}
	return read, nil
}

// pieces are the bytes of a file as they were read.
type pieces struct {
	all  [][]byte
	ends []int64 // of each piece, in the file
	size int64
}

func (p *pieces) add(piece []byte) {
	p.size += int64(len(piece))
	p.all, p.ends = append(p.all, piece), append(p.ends, p.size)
}

func (p *pieces) joined() []byte {
	if len(p.all) == 1 {
		return p.all[0]
	}
	return slices.Concat(p.all...)
}

// ReadAt implements io.ReaderAt.
func (p *pieces) ReadAt(b []byte, off int64) (n int, err error) {
	i, _ := slices.BinarySearch(p.ends, off+1)
	for ; i < len(p.all) && n < len(b); i++ {
		from := p.ends[i] - int64(len(p.all[i]))
		n += copy(b[n:], p.all[i][max(0, off-from):])
	}
	if n < len(b) {
		err = io.EOF
	}
	return n, err
}

// readUpTo reads r to its end, or returns nil for more than limit bytes. It
// reads in pieces, so that what is too large takes little more memory than the
// limit before it is let go.
func readUpTo(r io.Reader, hint, limit int64) (*pieces, error) {
	size := min(max(hint, 32<<10), limit) + 1
	read := &pieces{}
	for {
		piece := make([]byte, size)
		n, err := io.ReadFull(r, piece)
		if read.add(piece[:n]); read.size > limit {
			return nil, nil
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return read, nil
		}
		if err != nil {
			return nil, err
		}
		size = min(2*size, 4<<20)
	}
}

// sizeOf returns the size that a file or an entry of a .zip says it has; 0
// where it does not. It saves memory and refuses early; it is never believed.
func sizeOf(r io.Reader) int64 {
	switch f := r.(type) {
	case interface{ Stat() (fs.FileInfo, error) }:
		if info, err := f.Stat(); err == nil {
			return info.Size()
		}
	case entryReader:
		return int64(min(f.entry.UncompressedSize64, 1<<62))
	}
	return 0
}

// entryReader reads an entry of a .zip.
type entryReader struct {
	io.Reader
	entry *zip.File
}

// Megabytes writes a number of bytes for people.
func Megabytes(n int64) string {
	if n < 1<<20 {
		return fmt.Sprintf("%d kB", (n+1023)>>10)
	}
	return fmt.Sprintf("%d MB", n>>20)
}

// addZip opens a .zip and adds what is in it. What an entry says of its own
// size is not believed: bytes are counted as they are unpacked.
func (c *Collector) addZip(name string, r io.Reader) error {
	read, err := c.readPieces(name, r)
	if read == nil {
		return err
	}
	c.total -= read.size
	z, err := zip.NewReader(read, read.size)
	if err != nil {
		c.skip(name, "not a .zip file that can be opened", true)
		return nil
	}
	if err := c.weigh(z); err != nil {
		return err
	}
	for _, entry := range z.File {
		if entry.FileInfo().IsDir() {
			continue
		}
		if err := c.addEntry(name, entry); err != nil {
			return err
		}
	}
	return nil
}

// weigh refuses a .zip that says itself that it passes the limits.
func (c *Collector) weigh(z *zip.Reader) error {
	if c.files+len(z.File) > c.limits.Files+1 {
		c.files = c.limits.Files
		return c.count()
	}
	total := c.total
	for _, entry := range z.File {
		if size := entry.UncompressedSize64; size <= uint64(c.limits.CardBytes) {
			total += int64(size)
		}
	}
	if total > c.limits.TotalBytes {
		return c.tooMuch()
	}
	return nil
}

func (c *Collector) tooMuch() error {
	return &usage.Fault{
		Kind: usage.TooLarge,
		What: fmt.Sprintf("the card files are larger than %s together", Megabytes(c.limits.TotalBytes)),
		Try:  "bring them in several goes, or raise the limit with --most-mb",
	}
}

func (c *Collector) addEntry(archive string, entry *zip.File) error {
	if err := c.count(); err != nil {
		return err
	}
	name := archive + "/" + strings.TrimPrefix(path.Clean("/"+strings.ReplaceAll(entry.Name, `\`, "/")), "/")
	if strings.EqualFold(path.Ext(name), ".zip") {
		c.skip(name, "a .zip inside a .zip is not opened", true)
		return nil
	}
	tag := strings.EqualFold(path.Base(name), TagName)
	if !tag && !Candidate(name) {
		c.skip(name, "its name is no card file's", false)
		return nil
	}
	r, err := entry.Open()
	if err != nil {
		c.skip(name, "cannot be unpacked: "+err.Error(), true)
		return nil
	}
	defer r.Close()
	if tag {
		err = c.addTag(name, r)
	} else {
		err = c.addCard(name, entryReader{r, entry})
	}
	if errors.Is(err, zip.ErrChecksum) || errors.Is(err, zip.ErrFormat) || errors.Is(err, io.ErrUnexpectedEOF) {
		c.skip(name, "damaged inside its .zip", true)
		return nil
	}
	return err
}

// tagLine is the line of a tag file that names the site.
var tagLine = regexp.MustCompile(`(?im)^\s*site\s*[:=]?\s*([A-Z0-9]{1,8})\s*$`)

func (c *Collector) addTag(name string, r io.Reader) error {
	data, err := io.ReadAll(io.LimitReader(r, 4096))
	if err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	m := tagLine.FindSubmatch(data)
	if m == nil {
		c.skip(name, "a tag file without a line «site CODE»", false)
		return nil
	}
	c.tags[path.Dir(name)] = strings.ToUpper(string(m[1]))
	return nil
}

// Cards returns the card files found so far, with the tags of their folders.
func (c *Collector) Cards() []Found {
	for i := range c.found {
		c.found[i].Tag = c.tags[path.Dir(c.found[i].Path)]
	}
	return c.found
}

// Skipped returns the files passed over, with the reasons.
func (c *Collector) Skipped() []Skip { return c.skipped }

// cardExtensions are the name endings that loggers give their files.
// Common practice, no source.
var cardExtensions = map[string]bool{"": true, ".txt": true, ".csv": true, ".log": true, ".tsv": true, ".dat": true, ".prn": true}

// CardEndings returns the endings that the name of a card file in a folder may have,
// "" for none, in small letters, sorted.
func CardEndings() []string { return slices.Sorted(maps.Keys(cardExtensions)) }

// Candidate reports whether a file in a folder may be a card file by its name.
func Candidate(name string) bool {
	for _, part := range strings.Split(name, "/") {
		if strings.HasPrefix(part, ".") && part != "." && part != ".." ||
			part == "__MACOSX" || part == "System Volume Information" {
			return false
		}
	}
	return cardExtensions[strings.ToLower(path.Ext(name))]
}
