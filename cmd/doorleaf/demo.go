package main

import (
	"fmt"
	"os"
	"path/filepath"

	"doorleaf/importer/forge"
	"doorleaf/store"
	"doorleaf/usage"
)

type demoCommand struct {
	serveCommand
	Make bool   `name:"make-only" help:"Make the network and do not serve it."`
	Seed uint64 `default:"1" help:"Another seed makes other visitors."`
}

func (demoCommand) Help() string {
	return "Without --data the demo has a folder of its own, beside the one of your network.\n\nExample:\n  doorleaf demo --listen 127.0.0.1:0"
}

func (cmd *demoCommand) Run(c *console) error {
	if c.data == defaultData() {
		c.data += "-demo"
	}
	if _, err := os.Stat(filepath.Join(c.data, store.FileName)); os.IsNotExist(err) {
		if err := cmd.make(c); err != nil {
			return err
		}
	}
	s, err := c.alone("demo")
	if err != nil {
		return err
	}
	defer s.Close()
	if cmd.Make {
		return nil
	}
	return cmd.serve(c, s)
}

// make makes the demo network in a folder beside the data folder and moves it
// into place whole, so that a demo that was interrupted leaves nothing behind
// that looks like one.
func (cmd *demoCommand) make(c *console) error {
	fmt.Fprintln(c.err, "making the demo network (once)")
	if entries, err := os.ReadDir(c.data); err == nil && len(entries) > 0 {
		return &usage.Fault{Kind: usage.Conflict, What: c.data + " holds something already", Try: "name an empty or new folder with --data"}
	}
	if err := os.MkdirAll(filepath.Dir(c.data), 0o755); err != nil {
		return err
	}
	dir, err := os.MkdirTemp(filepath.Dir(c.data), ".doorleaf-demo-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	n, err := forge.Demo(c.now(), cmd.Seed)
	if err != nil {
		return err
	}
	if err := keepForged(c, dir, n); err != nil {
		return err
	}
	if err := os.Remove(c.data); err != nil && !os.IsNotExist(err) {
		return err
	}
	return os.Rename(dir, c.data)
}

func keepForged(c *console, dir string, n *forge.Network) error {
	s, err := store.Open(c.ctx, dir, store.Options{Now: c.now})
	if err != nil {
		return err
	}
	defer s.Close()
	for _, site := range n.Sites {
		if err := keepSite(c, s, site); err != nil {
			return fmt.Errorf("demo site %s: %w", site.Spec.Code, err)
		}
		fmt.Fprintf(c.err, "  %s, %s: %d cards, %d openings\n", site.Spec.Code, site.Spec.Name, len(site.Cards), len(site.Openings))
	}
	return nil
}

func keepSite(c *console, s *store.Store, site *forge.Site) error {
	if err := s.AddSite(c.ctx, site.Spec.Site()); err != nil {
		return err
	}
	cards := make([]store.CardIn, len(site.Cards))
	for i, card := range site.Cards {
		data, err := card.Bytes()
		if err != nil {
			return err
		}
		cards[i] = store.CardIn{Name: card.Name, Bytes: data, RemovedAt: &card.RemovedAt}
	}
	if _, err := s.Keep(c.ctx, site.Spec.Code, cards); err != nil {
		return err
	}
	return keepLog(c.ctx, s, site)
}
