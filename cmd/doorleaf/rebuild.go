package main

import "fmt"

type rebuildCommand struct {
	Site string `help:"Only the site with this code." placeholder:"CODE"`
}

func (rebuildCommand) Help() string { return "Example:\n  doorleaf rebuild --site MILL" }

func (cmd *rebuildCommand) Run(c *console) error {
	s, err := c.alone("rebuild")
	if err != nil {
		return err
	}
	defer s.Close()
	return s.Rebuild(c.ctx, cmd.Site, func(code string) { fmt.Fprintf(c.err, "rebuilt %s\n", code) })
}
