package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
)

type inspectCommand struct {
	Files     []string `arg:"" name:"file" help:"Card files, folders or .zip files."`
	JSON      bool     `help:"Print JSON."`
	DateOrder string   `enum:",dmy,mdy,ymd" default:"" help:"Read dates in this order: dmy, mdy or ymd."`
	limitFlags
}

func (inspectCommand) Help() string {
	return "Example:\n  doorleaf inspect LOG.TXT\n  doorleaf inspect --json cards/MILL/LOG.TXT"
}

// inspected is a card file as inspect --json shows it.
type inspected struct {
	Name       string               `json:"name"`
	Encoding   string               `json:"encoding"`
	LineEnd    string               `json:"line_end"`
	Dialect    cardfile.Dialect     `json:"dialect"`
	Lines      int                  `json:"lines"`
	Rows       int                  `json:"rows"`
	Headers    int                  `json:"headers"`
	Blanks     int                  `json:"blanks"`
	Complaints []cardfile.Complaint `json:"complaints"`
	Untimed    int                  `json:"untimed"`
	First      *string              `json:"first"`
	Last       *string              `json:"last"`
	OpenS      int64                `json:"open_s_total"`
	NoSeconds  int                  `json:"rows_without_seconds"`
	LeadingS   *int32               `json:"leading_seconds"`
	DateAsked  bool                 `json:"date_order_unknown"`
}

func (cmd *inspectCommand) Run(c *console) error {
	got, err := gather(cmd.Files, cmd.limits())
	if err != nil {
		return err
	}
	refused := reportSkipped(c.err, got)
	out := []inspected{}
	for _, f := range got.Cards() {
		file, err := cardfile.Read(f.Bytes, cardfile.Hint{DateOrder: cmd.DateOrder})
		if err != nil {
			refused = true
			fmt.Fprintf(c.err, "doorleaf: %s: %s\n", oneLine(fromHere(f.Path)), visible(err.Error()))
			continue
		}
		out = append(out, inspect(f, file))
	}
	if err := cmd.print(c.out, out); err != nil {
		return err
	}
	if refused {
		return exit(1)
	}
	return nil
}

func (cmd *inspectCommand) print(w io.Writer, files []inspected) error {
	if cmd.JSON {
		text, err := json.MarshalIndent(map[string]any{"files": files}, "", "  ")
		if err != nil {
			return err
		}
		_, err = io.WriteString(w, visibleJSON(string(text))+"\n")
		return err
	}
	for _, f := range files {
		if _, err := io.WriteString(w, f.text()); err != nil {
			return err
		}
	}
	return nil
}

func inspect(found importer.Found, f *cardfile.File) inspected {
	s := inspected{
		Name: found.Name, Encoding: f.Encoding, LineEnd: f.LineEnd, Dialect: f.Dialect,
		Lines: f.Lines, Rows: len(f.Rows), Headers: f.Headers, Blanks: f.Blanks,
		Complaints: f.Complaints, DateAsked: f.Ambiguous,
	}
	if s.Complaints == nil {
		s.Complaints = []cardfile.Complaint{}
	}
	if f.LeadingS != usage.Unknown {
		s.LeadingS = &f.LeadingS
	}
	for i := range f.Rows {
		s.add(f, i)
	}
	return s
}

func (s *inspected) add(f *cardfile.File, i int) {
	r := &f.Rows[i]
	if r.Timed {
		at := time.Unix(r.Reading, 0).UTC().Format("2006-01-02T15:04:05")
		if s.First == nil {
			s.First = &at
		}
		s.Last = &at
	} else {
		s.Untimed++
	}
	switch closes := r.Event == cardfile.Close && i > 0 && f.Rows[i-1].Event == cardfile.Open; {
	case r.OpenS != usage.Unknown:
		s.OpenS += int64(r.OpenS)
	case !closes:
		s.NoSeconds++
	}
}

// text is the report for people.
func (s inspected) text() string {
	var b strings.Builder
	line := func(format string, args ...any) { b.WriteString(oneLine(fmt.Sprintf(format, args...)) + "\n") }
	line("%s", s.Name)
	line("  %d lines: %d rows, %d headers, %d blank, %d complaints", s.Lines, s.Rows, s.Headers, s.Blanks, len(s.Complaints))
	if s.First != nil {
		line("  first %s, last %s (as the clock read)", *s.First, *s.Last)
	}
	line("  %d rows without a time, %d without seconds; door open for %s in all", s.Untimed, s.NoSeconds, time.Duration(s.OpenS)*time.Second)
	line("  %s, line ends %s, delimiter %s, columns: %s", s.Encoding, s.LineEnd, s.Dialect.Delimiter, strings.Join(s.Dialect.Columns, ", "))
	switch {
	case s.DateAsked:
		line("  date order: the file cannot tell")
	case s.Dialect.DateOrder != nil:
		line("  date order %s, %d-hour clock", *s.Dialect.DateOrder, s.Dialect.Hours)
	}
	for _, e := range s.Dialect.Evidence {
		line("    %s", e)
	}
	for i, c := range s.Complaints {
		if i == 20 {
			line("  and %d complaints more (--json shows all)", len(s.Complaints)-i)
			break
		}
		line("  line %d: %s: %s", c.Line, c.Reason, c.Raw)
	}
	return b.String()
}
