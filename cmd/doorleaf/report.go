package main

import (
	"context"
	"fmt"
	"io"
	"runtime"

	"github.com/schollz/progressbar/v3"

	"doorleaf/server"
	"doorleaf/usage"
	"doorleaf/web/assets"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
	reports "doorleaf/web/report"
)

type reportCommand struct {
	Season string `required:"" help:"Season: 2026-summer, 2025-26-winter." placeholder:"S"`
	Site   string `help:"Only the site with this code." placeholder:"CODE"`
	Format string `required:"" enum:"pdf,xlsx,csv,html" help:"pdf, xlsx, csv, or html (one page for print)."`
	Out    string `required:"" type:"path" help:"File to write; one that is there is replaced." placeholder:"FILE"`
	Paper  string `enum:"a4,letter" default:"a4" help:"Paper of a PDF: a4 or letter."`
}

func (reportCommand) Help() string {
	return "Example:\n  doorleaf report --season 2026-summer --format pdf --out summer.pdf\n  doorleaf report --season 2026-summer --site MILL --format pdf --paper letter --out mill.pdf\n  doorleaf report --season 2026-summer --format xlsx --out summer.xlsx"
}

func (cmd *reportCommand) Run(c *console) error {
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	season, err := server.SeasonReport(c.ctx, s, c.now, cmd.Season, cmd.Site)
	if err != nil {
		return err
	}
	if err := writeWhole(cmd.Out, func(w io.Writer) error { return cmd.write(c.ctx, c.err, w, season) }); err != nil {
		return fmt.Errorf("report to %s: %w", cmd.Out, err)
	}
	fmt.Fprintf(c.err, "wrote %s\n", cmd.Out)
	return nil
}

// write writes the report, with a bar of its pictures on a terminal.
func (cmd *reportCommand) write(ctx context.Context, messages, w io.Writer, season reports.Season) error {
	r := server.Report{Format: server.ReportFormat(cmd.Format), Paper: reports.Paper(cmd.Paper)}
	if r.Format != server.ReportPDF && r.Format != server.ReportHTML {
		return r.Write(ctx, w, season)
	}
	if !assets.Built() {
		return &usage.Fault{Kind: usage.Conflict, What: "this program was built without its charts and typefaces", Err: assets.ErrNotBuilt, Try: "make build, or --format xlsx"}
	}
	engine := draw.New(draw.Options{Machines: min(runtime.GOMAXPROCS(0), mostMachines)})
	defer engine.Close()
	r.Charts, r.Progress = chart.New(engine), pictureBar(messages)
	return r.Write(ctx, w, season)
}

// mostMachines keeps the memory of a report bounded where there are many processors.
const mostMachines = 4

// pictureBar returns what moves a progress bar of pictures.
func pictureBar(w io.Writer) func(done, all int) {
	if !isTerminal(w) {
		w = io.Discard
	}
	var bar *progressbar.ProgressBar
	return func(done, all int) {
		if bar == nil {
			bar = progressbar.NewOptions(all, progressbar.OptionSetWriter(w), progressbar.OptionSetDescription("pictures"),
				progressbar.OptionShowCount(), progressbar.OptionClearOnFinish())
		}
		bar.Set(done)
	}
}
