package main

import (
	"fmt"

	"doorleaf/store"
)

type checkCommand struct {
	Site string `help:"Only the site with this code." placeholder:"CODE"`
}

func (checkCommand) Help() string {
	return "Looks at the database by its own rules, at the bytes of every card by their digest, and at every derived row against a new derivation. It changes nothing, and works while the network is served. Exit status 1 if anything is wrong.\n\nExample:\n  doorleaf check --data my-network"
}

func (cmd *checkCommand) Run(c *console) error {
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	step := func(string) {}
	if isTerminal(c.err) {
		step = func(code string) { fmt.Fprintf(c.err, "checking %s\n", code) }
	}
	done, err := s.Check(c.ctx, cmd.Site, step)
	if err != nil {
		return err
	}
	for _, p := range done.Problems {
		fmt.Fprintln(c.out, problemLine(p))
	}
	if len(done.Problems) > 0 {
		fmt.Fprintf(c.err, "doorleaf: %s not as it should be\ntry: doorleaf rebuild where only derived rows differ, as they may after a new version of Doorleaf; else doorleaf restore with a copy (the newest are in the folder backups of the data folder)\n", many(len(done.Problems), "thing"))
		return exit(1)
	}
	fmt.Fprintf(c.out, "%s, %s of %s, %s: all as it should be\n", many(done.Sites, "site"), many(done.Cards, "card"), sizeWords(done.CardBytes), many(done.Rows, "derived row"))
	fmt.Fprintf(c.out, "%s  everything kept\n", done.Digest)
	return nil
}

func problemLine(p store.Problem) string {
	if p.Site == "" {
		return "network: " + oneLine(p.Says)
	}
	return p.Site + ": " + oneLine(p.Says)
}
