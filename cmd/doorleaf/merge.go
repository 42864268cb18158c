package main

import (
	"fmt"

	"doorleaf/store"
)

type mergeCommand struct {
	File   string            `arg:"" type:"path" help:"A bundle of the other network."`
	Answer map[string]string `help:"Answer to a question of an earlier try: KEY=ANSWER, as it was printed. May be given again for each." placeholder:"KEY=ANSWER"`
	Keep   string            `enum:",ours,theirs" default:"" help:"Answer all that --answer does not, where the choice is ours or theirs." placeholder:"ours|theirs"`
}

func (mergeCommand) Help() string {
	return "Sites are the same that have one code and lie within 100 m, cards that have the same bytes, service calls and answers that say the same. Where the two networks contradict each other nothing is changed: each question is printed with the flags that answer it, and the exit status is 1. Merging twice changes nothing.\n\nExample:\n  doorleaf merge town.zip\n  doorleaf merge town.zip --answer MILL.name=theirs --answer site.YARD=apart:YARD2\n  doorleaf merge town.zip --keep ours"
}

func (cmd *mergeCommand) Run(c *console) error {
	s, err := c.alone("merge")
	if err != nil {
		return err
	}
	defer s.Close()
	b, closer, err := store.OpenBundle(cmd.File, store.DefaultBundleLimits)
	if err != nil {
		return err
	}
	defer closer.Close()
	m, err := s.Merge(c.ctx, b, store.MergeAnswers{ByKey: cmd.Answer, Keep: cmd.Keep})
	if err != nil {
		return fmt.Errorf("merge: %w", err)
	}
	if len(m.Questions) > 0 {
		cmd.asks(c, m.Questions)
		return exit(1)
	}
	for _, key := range m.Unasked {
		fmt.Fprintf(c.err, "--answer %s: there was no such question\n", oneLine(key))
	}
	for _, site := range m.Sites {
		fmt.Fprintln(c.out, mergedLine(site))
	}
	if len(m.Sites) == 0 {
		fmt.Fprintln(c.out, "nothing new: everything in the bundle is kept already")
	}
	return nil
}

// asks prints the questions with the flags that answer them.
func (cmd *mergeCommand) asks(c *console, questions []store.MergeQuestion) {
	for _, q := range questions {
		fmt.Fprintln(c.out, oneLine(q.Says))
		for _, choice := range q.Choices {
			fmt.Fprintf(c.out, "  --answer %s=%s  %s\n", q.Key, choice.Answer, oneLine(choice.Says))
		}
	}
	fmt.Fprintf(c.err, "doorleaf: %s only you can answer; nothing was changed\ntry: the same command again with one --answer a question, or --keep ours or --keep theirs\n", many(len(questions), "question"))
}

func mergedLine(m store.MergedSite) string {
	line := m.Code + ":"
	if m.New {
		line += " new,"
	}
	line += fmt.Sprintf(" %s gained, %d service calls, answers and settings", many(m.Cards, "card"), m.Records)
	if m.Fields > 0 {
		line += fmt.Sprintf(", %s changed", many(m.Fields, "fact"))
	}
	if m.Withdrawn > 0 {
		line += fmt.Sprintf(", %s withdrawn", many(m.Withdrawn, "card"))
	}
	return line + fmt.Sprintf("; the logbook gained %s", many(int(m.Gained), "opening"))
}
