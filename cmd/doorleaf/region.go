package main

import (
	"encoding/json"
	"fmt"

	"doorleaf/store"
	"doorleaf/usage"
)

// networkCommand shows and changes what the network says of itself.
type networkCommand struct {
	Name     *string `help:"What the network is called, on pages and reports; '' takes the name away."`
	Language *string `help:"Language of the pages: en or de."`
	Dates    *string `help:"Order of day, month and year: dmy, mdy or ymd."`
	Decimal  *string `help:"Decimal mark: . or ,"`
	FirstDay *int    `help:"First day of the week: 1 Monday to 7 Sunday."`
	Clock    *int    `help:"Hours on the clock face: 12 or 24."`
}

func (networkCommand) Help() string {
	return "Prints what the network says of itself, as JSON. What is given is changed first.\n\nExample:\n  doorleaf network\n  doorleaf network --name 'Boxes of Aldermouth' --language de --decimal , --dates dmy"
}

func (cmd *networkCommand) Run(c *console) error {
	n, err := cmd.network(c)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(c.out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(n)
}

// network returns the network's setting after what was given was changed.
func (cmd *networkCommand) network(c *console) (usage.Network, error) {
	open := c.read
	if *cmd != (networkCommand{}) {
		open = func() (*store.Store, error) { return c.alone("network") }
	}
	s, err := open()
	if err != nil {
		return usage.Network{}, err
	}
	defer s.Close()
	n, err := s.Network(c.ctx)
	if err != nil || *cmd == (networkCommand{}) {
		return n, err
	}
	set(&n.Name, cmd.Name)
	set(&n.Region.Language, cmd.Language)
	set(&n.Region.Dates, cmd.Dates)
	set(&n.Region.Decimal, cmd.Decimal)
	set(&n.Region.FirstDay, cmd.FirstDay)
	set(&n.Region.Clock, cmd.Clock)
	if err := s.SetNetwork(c.ctx, n); err != nil {
		return n, err
	}
	fmt.Fprintln(c.err, "changed the network")
	return s.Network(c.ctx)
}
