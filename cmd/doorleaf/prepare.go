package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"doorleaf/importer"
	"doorleaf/server"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

type prepareCommand struct {
	Site      string  `required:"" help:"The site whose logger gets the card." placeholder:"CODE"`
	Out       string  `required:"" type:"path" help:"Folder to write to, such as the card itself. Nothing there is ever replaced." placeholder:"DIR"`
	At        string  `help:"Moment at which the logger reads the clock-set file: 2026-05-01T14:30 in the site's zone, or with an offset (default: the next full hour an hour away)." placeholder:"TIME"`
	LogFile   *string `name:"log-file" help:"Keep for the site: the 8.3 name of its log, such as LOG.TXT." placeholder:"NAME"`
	ClockFile *string `name:"clock-file" help:"Keep for the site: the 8.3 name of its clock-set file; none for a logger that reads none." placeholder:"NAME"`
	Template  *string `help:"Keep for the site: what stands in the clock-set file, with {year} or {yy}, {month}, {day}, {weekday}, {hour}, {minute}, {second}." placeholder:"TEXT"`
	FirstDay  *int    `name:"first-day" help:"Keep for the site: the weekday that its clock counts as 1, 1 for Monday to 7 for Sunday."`
}

func (prepareCommand) Help() string {
	return "Writes a site tag, a log without rows and a clock-set file, all with 8.3 names.\n\nExample:\n  doorleaf prepare --site MILL --out card --at 2026-05-01T14:30\n  doorleaf prepare --site MILL --out card --clock-file SETTIME.TXT --template '{hour}{minute}{second}{weekday}{day}{month}{yy}'"
}

func (cmd *prepareCommand) Run(c *console) error {
	s, err := c.open()
	if err != nil {
		return err
	}
	defer s.Close()
	site, err := s.Site(c.ctx, cmd.Site)
	if err != nil {
		return err
	}
	at, err := cmd.moment(c, site.Site)
	if err != nil {
		return err
	}
	if err := cmd.keepSetting(c, s); err != nil {
		return err
	}
	p, err := server.PrepareCard(c.ctx, s, cmd.Site, at)
	if err != nil {
		return err
	}
	if err := writePrepared(cmd.Out, p.Files); err != nil {
		return err
	}
	if err := server.NotePrepared(c.ctx, s, cmd.Site, p); err != nil {
		return err
	}
	for _, f := range p.Files {
		fmt.Fprintln(c.out, oneLine(fromHere(filepath.Join(cmd.Out, f.Name))))
	}
	fmt.Fprintln(c.err, visible(web.PrepareLead(words.English, p.Setting, p.At, p.Reading, p.OffsetS, site.Site)))
	if p.Setting.ClockFile != "" {
		fmt.Fprintln(c.err, web.PrepareKeeps(words.English, site.Clock))
		fmt.Fprintln(c.err, words.English.Say(web.PrepareHint))
	}
	fmt.Fprintln(c.err, words.English.Say(web.CautionCard))
	return nil
}

// moment is the true instant at which the logger is to read its clock-set file.
func (cmd *prepareCommand) moment(c *console, site usage.Site) (int64, error) {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return 0, err
	}
	if cmd.At == "" {
		return server.NextMoment(zone, c.now().Unix()), nil
	}
	at, _, err := trueTime(cmd.At, "--at", zone)
	return at, err
}

// keepSetting keeps what the flags say of the site's cards.
func (cmd *prepareCommand) keepSetting(c *console, s server.Network) error {
	if cmd.LogFile == nil && cmd.ClockFile == nil && cmd.Template == nil && cmd.FirstDay == nil {
		return nil
	}
	kept, err := s.CardSetting(c.ctx, cmd.Site)
	if err != nil {
		return err
	}
	setting := usage.DefaultCardSetting
	if kept != nil {
		setting = *kept
	} else if usual, err := server.PrepareCard(c.ctx, s, cmd.Site, c.now().Unix()); err == nil {
		setting = usual.Setting
	}
	set(&setting.LogFile, cmd.LogFile)
	set(&setting.ClockFile, cmd.ClockFile)
	set(&setting.Template, cmd.Template)
	set(&setting.FirstDay, cmd.FirstDay)
	if strings.EqualFold(setting.ClockFile, "none") {
		setting.ClockFile, setting.Template = "", ""
	}
	setting.LogFile, setting.ClockFile = strings.ToUpper(setting.LogFile), strings.ToUpper(setting.ClockFile)
	return s.SetCardSetting(c.ctx, cmd.Site, &setting)
}

// writePrepared writes the files of a card into a folder, all or none. A file that is
// there already is never replaced.
func writePrepared(dir string, files []importer.PreparedFile) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("prepare a card: %w", err)
	}
	var written []string
	for _, f := range files {
		path := filepath.Join(dir, f.Name)
		err := writeNew(path, f.Bytes)
		if err == nil {
			written = append(written, path)
			continue
		}
		for _, w := range written {
			err = errors.Join(err, os.Remove(w))
		}
		return err
	}
	return nil
}

// writeNew writes a file that must not be there yet.
func writeNew(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return &usage.Fault{Kind: usage.Conflict, What: fromHere(path) + " is there already", Try: "read that card first, then empty it, or name another folder with --out; nothing was written"}
	}
	if err != nil {
		return fmt.Errorf("prepare a card: %w", err)
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(fmt.Errorf("prepare a card: %w", err), os.Remove(path))
	}
	return nil
}
