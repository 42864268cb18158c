package main

import "fmt"

type backupCommand struct {
	Out string `required:"" type:"path" help:"File to write; one that is there is replaced." placeholder:"FILE"`
}

func (backupCommand) Help() string {
	return "The copy is the whole network at one moment, passphrases included, also while it is served and changed. It is checked before it takes its name.\n\nExample:\n  doorleaf backup --out /mnt/stick/town.db"
}

func (cmd *backupCommand) Run(c *console) error {
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	done, err := s.Backup(c.ctx, cmd.Out)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.err, "wrote %s: %s, %s, %s, verified\n", cmd.Out, many(done.Sites, "site"), many(done.Cards, "card"), sizeWords(done.Bytes))
	fmt.Fprintf(c.out, "%s  everything kept\n", done.Digest)
	return nil
}
