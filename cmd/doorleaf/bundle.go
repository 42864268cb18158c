package main

import (
	"fmt"
	"io"

	"doorleaf/store"
	"doorleaf/web"
)

type bundleCommand struct {
	Out  string `required:"" type:"path" help:"File to write, a .zip; one that is there is replaced." placeholder:"FILE"`
	Site string `help:"Only the site with this code." placeholder:"CODE"`
}

func (bundleCommand) Help() string {
	return "The bundle holds the card files byte for byte, the sites with their settings, service calls, answers and the journal, and no passphrase. «doorleaf merge» takes it over into another network, «doorleaf restore» makes a new network of it.\n\nExample:\n  doorleaf bundle --out town.zip\n  doorleaf bundle --site MILL --out mill.zip"
}

func (cmd *bundleCommand) Run(c *console) error {
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	var done store.Bundled
	err = writeWhole(cmd.Out, func(w io.Writer) (err error) {
		done, err = s.WriteBundle(c.ctx, w, cmd.Site)
		return err
	})
	if err != nil {
		return fmt.Errorf("bundle into %s: %w", cmd.Out, store.InWords(err))
	}
	fmt.Fprintf(c.err, "wrote %s: %s, %s of %s\n", cmd.Out, many(done.Sites, "site"), many(done.Cards, "card"), sizeWords(done.CardBytes))
	return nil
}

// many writes a number of things whose word takes an s.
func many(n int, what string) string { return web.Plural(int64(n), what, what+"s") }

// sizeWords writes a number of bytes for people.
func sizeWords(n int64) string {
	switch {
	case n < 10_000:
		return fmt.Sprintf("%d bytes", n)
	case n < 10_000_000:
		return fmt.Sprintf("%d kB", n/1000)
	}
	return fmt.Sprintf("%d MB", n/1_000_000)
}
