package main

import (
	"fmt"
	"text/tabwriter"

	"doorleaf/usage"
)

type siteCommands struct {
	Add    siteAdd    `cmd:"" help:"Add a site."`
	List   siteList   `cmd:"" help:"List the sites."`
	Change siteChange `cmd:"" help:"Change a site and derive it again."`
}

type siteAdd struct {
	Code      string  `required:"" help:"Short code, 1 to 8 of A-Z and 0-9."`
	Name      string  `required:"" help:"Name."`
	Latitude  float64 `required:"" help:"Degrees, north positive."`
	Longitude float64 `required:"" help:"Degrees, east positive."`
	Zone      string  `required:"" help:"IANA time zone, such as Europe/Dublin."`
	Installed string  `required:"" help:"Date of installation, YYYY-MM-DD."`
	Clock     string  `enum:"fixed,civil,utc" default:"fixed" help:"What its logger's clock keeps: fixed, civil or utc."`
	DateOrder string  `enum:",dmy,mdy,ymd" default:"" help:"Date order of its cards where they cannot tell: dmy, mdy or ymd."`
}

func (siteAdd) Help() string {
	return "Example:\n  doorleaf site add --code MILL --name \"Mill Lane\" --latitude 52.1 --longitude -8.2 --zone Europe/Dublin --installed 2024-03-01"
}

func (cmd *siteAdd) Run(c *console) error {
	installed, err := usage.ParseDate(cmd.Installed)
	if err != nil {
		return &usage.Fault{Kind: usage.Invalid, What: "--installed " + err.Error()}
	}
	s, err := c.alone("site add")
	if err != nil {
		return err
	}
	defer s.Close()
	err = s.AddSite(c.ctx, usage.Site{
		Code: cmd.Code, Name: cmd.Name, Latitude: cmd.Latitude, Longitude: cmd.Longitude, Zone: cmd.Zone,
		InstalledOn: installed, Clock: usage.ClockKeeping(cmd.Clock),
		Profile: usage.Profile{DateOrder: cmd.DateOrder}, Thresholds: usage.DefaultThresholds,
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.err, "added site %s\n", cmd.Code)
	return nil
}

type siteList struct{}

func (siteList) Help() string { return "Example:\n  doorleaf site list" }

func (cmd *siteList) Run(c *console) error {
	s, err := c.read()
	if err != nil {
		return err
	}
	defer s.Close()
	sites, err := s.Sites(c.ctx)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "CODE\tNAME\tZONE\tINSTALLED\tCLOCK\tCARDS\tVISITS")
	for _, x := range sites {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%d\t%d\n", x.Code, oneLine(x.Name), x.Zone, x.InstalledOn, x.Clock, x.Cards, x.Totals.Visits)
	}
	return w.Flush()
}

type siteChange struct {
	Code      string   `arg:"" help:"Code of the site."`
	Name      *string  `help:"New name."`
	Latitude  *float64 `help:"New latitude, degrees, north positive."`
	Longitude *float64 `help:"New longitude, degrees, east positive."`
	Zone      *string  `help:"New IANA time zone."`
	Installed *string  `help:"New date of installation, YYYY-MM-DD."`
	Clock     *string  `help:"What its logger's clock keeps: fixed, civil or utc."`
	DateOrder *string  `help:"Date order of its cards where they cannot tell: dmy, mdy, ymd, or none."`
	RattleS   *int32   `name:"rattle-s" help:"An opening shorter than this many seconds is a rattle."`
	AjarS     *int32   `name:"ajar-s" help:"An opening longer than this many seconds is a door left ajar."`
	JoinS     *int32   `name:"join-s" help:"Openings that begin within this many seconds of the last one's close are one visit."`
}

func (siteChange) Help() string {
	return "Example:\n  doorleaf site change MILL --clock civil --join-s 240"
}

func (cmd *siteChange) Run(c *console) error {
	s, err := c.alone("site change")
	if err != nil {
		return err
	}
	defer s.Close()
	if err := s.ChangeSite(c.ctx, cmd.Code, cmd.change); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "changed site %s\n", cmd.Code)
	return nil
}

func (cmd *siteChange) change(site *usage.Site) (err error) {
	set(&site.Name, cmd.Name)
	set(&site.Latitude, cmd.Latitude)
	set(&site.Longitude, cmd.Longitude)
	set(&site.Zone, cmd.Zone)
	set((*string)(&site.Clock), cmd.Clock)
	set(&site.Thresholds.RattleS, cmd.RattleS)
	set(&site.Thresholds.AjarS, cmd.AjarS)
	set(&site.Thresholds.JoinS, cmd.JoinS)
	if cmd.DateOrder != nil {
		site.Profile.DateOrder = *cmd.DateOrder
		if *cmd.DateOrder == "none" {
			site.Profile.DateOrder = ""
		}
	}
	if cmd.Installed != nil {
		if site.InstalledOn, err = usage.ParseDate(*cmd.Installed); err != nil {
			return &usage.Fault{Kind: usage.Invalid, What: "--installed " + err.Error()}
		}
	}
	return nil
}

// set changes a field when the flag was given.
func set[T any](field, flag *T) {
	if flag != nil {
		*field = *flag
	}
}
