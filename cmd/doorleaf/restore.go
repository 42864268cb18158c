package main

import (
	"fmt"
	"strings"

	"doorleaf/store"
)

type restoreCommand struct {
	File    string `arg:"" type:"path" help:"A file that backup or bundle wrote, or one of the copies in the folder backups."`
	Replace bool   `help:"Put it in the place of the network in the data folder, which is kept in a folder beside it."`
}

func (restoreCommand) Help() string {
	return "The network is made beside, and takes its place only when everything in it was verified: the database, what the copy says it kept, the bytes of every card, and every derived row against a new derivation.\n\nExample:\n  doorleaf restore town.db --data new-folder\n  doorleaf restore my-network/backups/2026-06-01.db --data my-network --replace"
}

func (cmd *restoreCommand) Run(c *console) error {
	done, err := store.Restore(c.ctx, cmd.File, c.data, store.RestoreOptions{Now: c.now, Replace: cmd.Replace})
	if err != nil {
		return err
	}
	if !done.Sealed {
		fmt.Fprintln(c.err, "this copy does not say what it kept, so that only its own rules and digests could be verified")
	}
	if len(done.Mended) > 0 {
		fmt.Fprintf(c.err, "derived anew, since this Doorleaf derives them otherwise than the one that made the copy: %s\n", strings.Join(done.Mended, ", "))
	}
	if done.Aside != "" {
		fmt.Fprintf(c.err, "what was there before is in %s\n", done.Aside)
	}
	fmt.Fprintf(c.err, "restored %s and %s into %s, verified\n", many(done.Sites, "site"), many(done.Cards, "card"), c.data)
	fmt.Fprintf(c.out, "%s  everything kept\n", done.Digest)
	return nil
}
