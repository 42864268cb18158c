package main

import (
	"fmt"
	"io"

	"doorleaf/server"
	reports "doorleaf/web/report"
)

type reportCommand struct {
	Season string `required:"" help:"Season: 2026-summer, 2025-26-winter." placeholder:"S"`
	Site   string `help:"Only the site with this code." placeholder:"CODE"`
	Format string `required:"" enum:"xlsx,csv" help:"xlsx or csv."`
	Out    string `required:"" type:"path" help:"File to write; one that is there is replaced." placeholder:"FILE"`
}

func (reportCommand) Help() string {
	return "Example:\n  doorleaf report --season 2026-summer --format xlsx --out summer.xlsx\n  doorleaf report --season 2026-summer --site MILL --format csv --out mill.csv"
}

func (cmd *reportCommand) Run(c *console) error {
	s, err := c.open()
	if err != nil {
		return err
	}
	defer s.Close()
	season, err := server.SeasonReport(c.ctx, s, c.now, cmd.Season, cmd.Site)
	if err != nil {
		return err
	}
	write := reports.WriteXLSX
	if cmd.Format == "csv" {
		write = reports.WriteCSV
	}
	if err := writeWhole(cmd.Out, func(w io.Writer) error { return write(w, season) }); err != nil {
		return fmt.Errorf("report to %s: %w", cmd.Out, err)
	}
	fmt.Fprintf(c.err, "wrote %s\n", cmd.Out)
	return nil
}
