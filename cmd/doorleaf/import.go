package main

import (
	"fmt"
	"io"

	"github.com/schollz/progressbar/v3"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
)

type importCommand struct {
	Site      string   `help:"The site of all the cards." placeholder:"CODE"`
	Pulled    string   `help:"True time at which the card came out: 2026-05-01T14:30 in the site's zone, or with an offset; with seconds where you know them." placeholder:"TIME"`
	DateOrder string   `enum:",dmy,mdy,ymd" default:"" help:"Read dates in this order: dmy, mdy or ymd."`
	Paths     []string `arg:"" name:"path" help:"Card files, folders or .zip files."`
	limitFlags
}

func (importCommand) Help() string {
	return "The site of a card is found by the tag file beside it, by rows that a site's logbook holds already, by the folder's name, or by --site. Exit status 1 if any card was refused.\n\nExample:\n  doorleaf import --site MILL --pulled 2026-05-01T14:30 LOG.TXT\n  doorleaf import cards/"
}

// bringing is one run of import.
type bringing struct {
	*importCommand
	*console
	store *store.Store
	sites []usage.Site
	bar   *progressbar.ProgressBar
	cards []brought

	gained []string // a line a site
}

// brought is a card file on its way into the network.
type brought struct {
	importer.Found
	in   store.CardIn
	site string // where it shall go; "" not decided
	by   importer.By
	said string // its line once it is settled
	fail bool
}

func (cmd *importCommand) Run(c *console) error {
	s, err := c.alone("import")
	if err != nil {
		return err
	}
	defer s.Close()
	got, err := gather(cmd.Paths, cmd.limits())
	if err != nil {
		return err
	}
	refused := reportSkipped(c.err, got)
	b := &bringing{importCommand: cmd, console: c, store: s}
	if err := b.start(got.Cards()); err != nil {
		return err
	}
	// Cards with a clue of their own go first: a card that only overlap can
	// place may belong to a logbook that they begin.
	for range 2 {
		b.place()
		if err := b.keep(); err != nil {
			return err
		}
	}
	if b.finish() || refused {
		return exit(1)
	}
	return nil
}

func (b *bringing) start(found []importer.Found) error {
	if len(found) == 0 {
		fmt.Fprintln(b.err, "no card files found")
	}
	sites, err := b.store.Sites(b.ctx)
	if err != nil {
		return err
	}
	for _, s := range sites {
		b.sites = append(b.sites, s.Site)
	}
	if b.Site != "" && b.siteOf(b.Site) == nil {
		return &usage.Fault{Kind: usage.NotFound, What: fmt.Sprintf("there is no site %s", b.Site), Try: "doorleaf site list, or doorleaf site add"}
	}
	if b.Pulled != "" && len(found) > 1 {
		return &usage.Fault{Kind: usage.Invalid, What: fmt.Sprintf("--pulled is the time of one card, and %d were found", len(found)), Try: "import the cards one by one"}
	}
	bar := io.Discard
	if isTerminal(b.err) {
		bar = b.err
	}
	b.bar = progressbar.NewOptions(len(found), progressbar.OptionSetWriter(bar), progressbar.OptionSetDescription("cards"),
		progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
	b.cards = make([]brought, len(found))
	for i, f := range found {
		b.cards[i] = b.read(f)
	}
	return nil
}

func (b *bringing) siteOf(code string) *usage.Site {
	for i := range b.sites {
		if b.sites[i].Code == code {
			return &b.sites[i]
		}
	}
	return nil
}

// read reads a card far enough to know whether it can be kept.
func (b *bringing) read(f importer.Found) brought {
	card := brought{Found: f, in: store.CardIn{Name: f.Name, Bytes: f.Bytes, DateOrder: b.DateOrder}}
	file, err := cardfile.Read(f.Bytes, cardfile.Hint{DateOrder: b.DateOrder})
	card.in.File = file
	switch {
	case err != nil:
		card.refuse(err.Error(), "")
	case len(file.Rows) == 0 && file.Lines == 0:
		card.said = "empty file: nothing to keep"
	case len(file.Rows) == 0 && len(file.Complaints) > 0:
		card.refuse(fmt.Sprintf("none of its %d lines is a row (line %d: %s)", file.Lines, file.Complaints[0].Line, file.Complaints[0].Reason), "")
	case len(file.Rows) == 0:
		card.said = fmt.Sprintf("no rows in %d lines: nothing to keep", file.Lines)
	}
	return card
}

func (c *brought) refuse(why, try string) {
	c.fail, c.said = true, "refused: "+why
	if try != "" {
		c.said += " (try: " + try + ")"
	}
}

// place decides the sites of cards that are not settled.
func (b *bringing) place() {
	for i := range b.cards {
		if c := &b.cards[i]; c.said == "" && c.site == "" {
			if err := b.placeCard(c); err != nil {
				c.refuse(err.Error(), "")
			}
		}
	}
}

func (b *bringing) placeCard(c *brought) error {
	clues := importer.Clues{Tag: c.Tag, Folder: c.Folder, Choice: b.Site}
	switch kept, err := b.store.Card(b.ctx, store.CardID(c.Bytes)); {
	case err == nil:
		clues.Kept = kept.Site
	case usage.KindOf(err) != usage.NotFound:
		return err
	}
	overlaps, err := b.store.Elsewhere(b.ctx, c.in)
	if err != nil {
		return err
	}
	for _, o := range overlaps {
		clues.Overlaps = append(clues.Overlaps, importer.Overlap{Site: o.Site, Rows: o.Rows})
	}
	a := importer.Advise(b.sites, clues)
	switch {
	case a.Other != nil:
		c.refuse(fmt.Sprintf("held back: %d of its rows stand in the logbook of %s, not %s; whose card is it?", a.Other.Rows, a.Other.Site, a.Site),
			fmt.Sprintf("--site %s, or withdraw the wrong card first", a.Other.Site))
	case a.Site != "" && a.Tag != "" && b.siteOf(a.Tag) != nil:
		c.refuse(fmt.Sprintf("held back: its tag says %s, not %s; whose card is it?", a.Tag, a.Site), "--site "+a.Tag+", or put the right tag file beside it")
	default:
		c.site, c.by = a.Site, a.By
	}
	return nil
}

// keep keeps the cards that have a site, all cards of a site at once.
func (b *bringing) keep() error {
	for i := range b.sites {
		var group []*brought
		for k := range b.cards {
			if c := &b.cards[k]; c.said == "" && c.site == b.sites[i].Code {
				group = append(group, c)
			}
		}
		if len(group) == 0 {
			continue
		}
		if err := b.keepGroup(&b.sites[i], group); err != nil {
			return err
		}
	}
	return nil
}

// keepGroup keeps cards of one site. Those whose dates nobody can read are
// refused; what is left is kept whole or not at all.
func (b *bringing) keepGroup(site *usage.Site, group []*brought) error {
	unread, err := b.store.Undated(b.ctx, site.Code, inputs(group))
	if err != nil {
		return err
	}
	var keep []*brought
	for i, c := range group {
		if unread[i] {
			c.refuse("its dates can be read in two orders, and neither its rows nor other cards of "+site.Code+" decide", "--date-order dmy or --date-order mdy")
			continue
		}
		if c.in.RemovedAt, c.in.RemovedExact, err = b.pulled(site); err != nil {
			return err
		}
		keep = append(keep, c)
	}
	if len(keep) == 0 {
		return nil
	}
	receipts, err := b.store.Keep(b.ctx, site.Code, inputs(keep))
	if err != nil && usage.KindOf(err) == 0 {
		return err
	}
	gained, fresh := int64(0), false
	for i, c := range keep {
		b.bar.Add(1)
		if err != nil {
			c.refuse(err.Error(), tryOf(err))
			continue
		}
		c.said = receiptLine(site, receipts[i])
		gained, fresh = receipts[i].New, fresh || !receipts[i].Already
	}
	if fresh {
		b.gained = append(b.gained, fmt.Sprintf("%s: the logbook gained %d openings", site.Code, gained))
	}
	return nil
}

func inputs(group []*brought) []store.CardIn {
	in := make([]store.CardIn, len(group))
	for i, c := range group {
		in[i] = c.in
	}
	return in
}

func receiptLine(site *usage.Site, r store.Receipt) string {
	if r.Told {
		return fmt.Sprintf("%s: kept already; what was told of it now is new", site.Code)
	}
	if r.Already {
		return fmt.Sprintf("%s: kept already, nothing changed", site.Code)
	}
	return fmt.Sprintf("%s: kept, %d rows, %d complaints", site.Code, r.Card.Rows, r.Card.Complaints)
}

// pulled reads --pulled.
func (b *bringing) pulled(site *usage.Site) (at *int64, exact bool, err error) {
	if b.Pulled == "" {
		return nil, false, nil
	}
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return nil, false, err
	}
	given, exact, err := trueTime(b.Pulled, "--pulled", zone)
	return &given, exact, err
}

// finish prints a line a card and reports whether any was refused.
func (b *bringing) finish() (refused bool) {
	b.bar.Finish()
	for i := range b.cards {
		c := &b.cards[i]
		if c.said == "" {
			c.refuse("nothing tells its site: no tag file, no rows that a logbook holds, no folder named for a site", "--site CODE")
		}
		refused = refused || c.fail
		fmt.Fprintf(b.out, "%s: %s\n", oneLine(fromHere(c.Path)), oneLine(c.said))
	}
	for _, line := range b.gained {
		fmt.Fprintln(b.out, line)
	}
	return refused
}
