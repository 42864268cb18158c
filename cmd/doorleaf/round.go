package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"doorleaf/server"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

type roundCommand struct {
	From  string   `help:"Where the walk starts: a site's code, or latitude,longitude in degrees." placeholder:"PLACE"`
	Back  bool     `help:"Walk back to the start."`
	Site  []string `help:"Go to this site, whatever is due there; may come several times." placeholder:"CODE"`
	Days  int32    `default:"60" help:"A card is due when it has not been read for so many days."`
	Clock int32    `default:"15" help:"A clock is due when it may be off by so many minutes."`
	Ahead int32    `default:"7" help:"Take along what falls due within so many days."`
	JSON  bool     `help:"Print JSON."`
	ICS   string   `name:"ics" type:"path" help:"Write the due dates to an iCalendar file; one that is there is replaced." placeholder:"FILE"`
}

func (roundCommand) Help() string {
	return "Lists the boxes in the order worth walking, with what is due at each and why. Distances are straight lines.\n\nExample:\n  doorleaf round --from MILL --back\n  doorleaf round --from 52.1,-8.2 --days 30 --json\n  doorleaf round --ics due.ics"
}

func (cmd *roundCommand) Run(c *console) error {
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	ask := server.RoundAsk{
		Rule: usage.RoundRule{CardDays: cmd.Days, ClockS: cmd.Clock * 60, AheadDays: cmd.Ahead},
		From: cmd.From, Back: cmd.Back, Sites: cmd.Site,
	}
	if cmd.ICS != "" {
		return cmd.calendar(c, s, ask)
	}
	plan, err := server.PlanRound(c.ctx, s, c.now, ask)
	if err != nil {
		return err
	}
	if cmd.JSON {
		enc := json.NewEncoder(c.out)
		enc.SetIndent("", "  ")
		return enc.Encode(roundJSON(plan))
	}
	return printRound(c.out, plan, len(cmd.Site) > 0)
}

func (cmd *roundCommand) calendar(c *console, s server.Network, ask server.RoundAsk) error {
	calendar, err := server.RoundCalendar(c.ctx, words.English, s, c.now, ask)
	if err != nil {
		return err
	}
	err = writeWhole(cmd.ICS, func(w io.Writer) error {
		_, err := io.WriteString(w, calendar)
		return err
	})
	if err != nil {
		return fmt.Errorf("calendar to %s: %w", cmd.ICS, err)
	}
	fmt.Fprintf(c.err, "wrote %s\n", cmd.ICS)
	return nil
}

// printRound writes the round for people.
func printRound(w io.Writer, plan server.RoundPlan, chosen bool) error {
	var b strings.Builder
	b.WriteString(web.RoundLead(words.English, len(plan.Stops), len(plan.Stops)+len(plan.Others), plan.Metres, plan.Rule.AheadDays, chosen) + "\n")
	for i, stop := range plan.Stops {
		leg := ""
		if stop.LegM > 0 {
			leg = ", " + web.MetresWords(words.English, stop.LegM) + " further on"
		}
		fmt.Fprintf(&b, "%d. %s %s%s\n", i+1, stop.Site.Code, oneLine(stop.Site.Name), leg)
		for _, d := range stop.Take {
			b.WriteString("   [ ] " + dueLine(d, stop.Site.Code) + "\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// dueLine writes a reason to go to a box in one line.
func dueLine(d usage.Due, code string) string {
	row := web.DueWords(words.English, d, code)
	line := row.Do
	for _, more := range []string{row.Why, row.When} {
		if more != "" {
			line += "; " + more
		}
	}
	return line
}

// The round as round --json prints it.
type (
	roundOut struct {
		Stops          []stopOut       `json:"stops"`
		Others         []stopOut       `json:"not_on_the_round"`
		Start          *usage.Point    `json:"start"`
		Back           bool            `json:"back_to_start"`
		StraightMetres float64         `json:"straight_line_m"`
		Shortest       bool            `json:"shortest"`
		Rule           usage.RoundRule `json:"rule"`
	}
	stopOut struct {
		Code      string   `json:"code"`
		Name      string   `json:"name"`
		Latitude  float64  `json:"latitude"`
		Longitude float64  `json:"longitude"`
		LegMetres float64  `json:"leg_m"`
		Dues      []dueOut `json:"dues"` // those of later too
	}
	dueOut struct {
		Kind    usage.DueKind `json:"kind"`
		By      *usage.Date   `json:"by"` // null for open questions, which have no date
		Due     bool          `json:"due"`
		OnRound bool          `json:"on_round"`
		Says    string        `json:"says"`
	}
)

func roundJSON(plan server.RoundPlan) roundOut {
	out := roundOut{
		Start: plan.Start, Back: plan.Back, StraightMetres: plan.Metres, Shortest: plan.Exact, Rule: plan.Rule,
		Stops: []stopOut{}, Others: []stopOut{},
	}
	for _, s := range plan.Stops {
		out.Stops = append(out.Stops, stopJSON(s, true))
	}
	for _, s := range plan.Others {
		out.Others = append(out.Others, stopJSON(s, false))
	}
	return out
}

func stopJSON(s server.RoundStop, on bool) stopOut {
	out := stopOut{Code: s.Site.Code, Name: s.Site.Name, Latitude: s.Site.Latitude, Longitude: s.Site.Longitude, LegMetres: s.LegM, Dues: []dueOut{}}
	for i, d := range s.Dues {
		due := dueOut{Kind: d.Kind, Due: d.Now, OnRound: on && i < len(s.Take), Says: dueLine(d, s.Site.Code)}
		if d.Kind != usage.DueQuestions {
			due.By = &s.Dues[i].By
		}
		out.Dues = append(out.Dues, due)
	}
	return out
}
