package main

import (
	"fmt"

	"doorleaf/importer/forge"
)

type forgeCommand struct {
	Days  int    `required:"" help:"Days that the network has been running."`
	Seed  uint64 `required:"" help:"The same seed makes the same files."`
	Sites int    `default:"1" help:"Sites."`
	Out   string `required:"" type:"path" help:"Folder to write to; it must be empty or new." placeholder:"DIR"`
}

func (forgeCommand) Help() string {
	return "Writes cards/SITE/DATE/… and truth.json, which has each opening's true instant and seconds.\n\nExample:\n  doorleaf forge --days 400 --seed 7 --sites 3 --out made-up"
}

func (cmd *forgeCommand) Run(c *console) error {
	n, err := forge.Random(cmd.Days, cmd.Sites, cmd.Seed)
	if err != nil {
		return err
	}
	if err := n.WriteDir(cmd.Out); err != nil {
		return err
	}
	cards := 0
	for _, s := range n.Sites {
		cards += len(s.Cards)
	}
	fmt.Fprintf(c.err, "made %d cards of %d sites in %s\n", cards, len(n.Sites), cmd.Out)
	return nil
}
