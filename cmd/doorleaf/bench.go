package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

type benchCommand struct {
	File      string `arg:"" help:"First card file of a new logger, with a few test openings." type:"path"`
	Site      string `help:"Where it is to hang: its zone and what its clock is to keep say which time is right." placeholder:"CODE"`
	Now       string `help:"True time of the last opening: 2026-05-01T14:30 in the site's zone, UTC without one, or with an offset (default: now, or a little before)." placeholder:"TIME"`
	DateOrder string `enum:",dmy,mdy,ymd" default:"" help:"Read dates in this order: dmy, mdy or ymd."`
	JSON      bool   `help:"Print JSON."`
}

func (benchCommand) Help() string {
	return "Says what is right and what is wrong with a new logger; keeps nothing. Exit status 1 if something is wrong.\n\nExample:\n  doorleaf bench LOG.TXT\n  doorleaf bench LOG.TXT --site MILL --now 2026-05-01T14:30"
}

func (cmd *benchCommand) Run(c *console) error {
	in, err := cmd.input(c)
	if err != nil {
		return err
	}
	result, err := importer.BenchCheck(in)
	if err != nil {
		return fmt.Errorf("%s: %w", cmd.File, err)
	}
	if err := cmd.print(c.out, result); err != nil {
		return err
	}
	if result.Count(importer.Wrong) > 0 {
		return exit(1)
	}
	return nil
}

// benchBytes is the largest file that is looked at.
const benchBytes = 64 << 20

// input reads the card and what is told of it.
func (cmd *benchCommand) input(c *console) (importer.BenchIn, error) {
	in := importer.BenchIn{Hint: cardfile.Hint{DateOrder: cmd.DateOrder}, At: c.now().Unix()}
	zone, err := usage.LoadZone("UTC")
	if err != nil {
		return in, err
	}
	if cmd.Site != "" {
		s, err := c.read()
		if err != nil {
			return in, err
		}
		defer s.Close()
		site, err := s.Site(c.ctx, cmd.Site)
		if err != nil {
			return in, err
		}
		in.Site = &site.Site
		if in.Hint.DateOrder == "" {
			in.Hint.DateOrder = site.Profile.DateOrder
		}
		if zone, err = usage.LoadZone(site.Zone); err != nil {
			return in, err
		}
	}
	if cmd.Now != "" {
		if in.At, _, err = trueTime(cmd.Now, "--now", zone); err != nil {
			return in, err
		}
		in.Exact = true
	}
	in.Bytes, err = readCardFile(cmd.File)
	return in, err
}

func readCardFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &usage.Fault{Kind: usage.NotFound, What: path + ": no such file", Try: "check the path"}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, benchBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	if len(data) > benchBytes {
		return nil, &usage.Fault{Kind: usage.TooLarge, What: path + " is larger than 64 MB", Try: "a bench check is for a few openings"}
	}
	return data, nil
}

func (cmd *benchCommand) print(w io.Writer, b importer.Bench) error {
	if cmd.JSON {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		return enc.Encode(b)
	}
	var out strings.Builder
	out.WriteString(web.BenchLead(words.English, b.Count(importer.Wrong), b.Count(importer.Unclear), b.Ready) + "\n")
	for _, verdict := range []importer.Verdict{importer.Wrong, importer.Unclear, importer.Right} {
		for _, c := range b.Checks {
			if c.Verdict != verdict {
				continue
			}
			fmt.Fprintf(&out, "%-7s  %s: %s", c.Verdict, c.Topic, oneLine(c.Says))
			if lines := web.LinesWords(words.English, c.Lines); lines != "" {
				out.WriteString(" (" + lines + ")")
			}
			out.WriteString("\n")
			if c.Try != "" {
				fmt.Fprintf(&out, "         try: %s\n", c.Try)
			}
		}
	}
	_, err := io.WriteString(w, out.String())
	return err
}
