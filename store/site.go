package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"
	"unicode/utf8"

	"doorleaf/usage"
)

// SiteSummary is a site with what a list of sites shows.
type SiteSummary struct {
	usage.Site
	LastCardAt   *int64 // Unix s of the last opening on its latest card: the moment it was last read; nil without cards
	OpenFindings int    // those without a ruling
	Cards        int
	Totals       usage.Totals
}

// SiteDetail is a site with what its own page shows.
type SiteDetail struct {
	SiteSummary
	Coverage []usage.Stretch
	Runs     []usage.Run
}

// keptSite is a site with its number inside the database.
type keptSite struct {
	id int64
	usage.Site
}

// AddSite keeps a new site. A code in use is a Conflict, a bad field Invalid.
// An empty Clock is usage.ClockFixed, zero Thresholds the default ones.
func (s *Store) AddSite(ctx context.Context, site usage.Site) error {
	site = withDefaults(site)
	if err := checkSite(site); err != nil {
		return err
	}
	return s.write(ctx, func(tx *tx) error {
		tx.touch(site.Code)
		id, err := insertSite(ctx, tx, site)
		if err != nil {
			return err
		}
		if err := tx.journal(ctx, Entry{Deed: DeedSiteAdded, Site: site.Code, Says: "added " + site.Code + ", " + site.Name}); err != nil {
			return err
		}
		_, err = s.deriveSite(ctx, tx, keptSite{id, site})
		return err
	})
}

// ChangeSite changes a kept site, its code included, and derives it again. The
// error of change comes back as it is.
func (s *Store) ChangeSite(ctx context.Context, code string, change func(*usage.Site) error) error {
	return s.write(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		before := site.Site
		tx.touch(before.Code)
		if err := change(&site.Site); err != nil {
			return err
		}
		site.Site = withDefaults(site.Site)
		if err := checkSite(site.Site); err != nil {
			return err
		}
		tx.touch(site.Code)
		if err := updateSite(ctx, tx, site); err != nil {
			return err
		}
		if says := siteChange(before, site.Site); says != "" {
			if err := tx.journal(ctx, Entry{Deed: DeedSiteChanged, Site: site.Code, Says: says}); err != nil {
				return err
			}
		}
		if before.Profile != site.Profile {
			if err := s.readFactsAgain(ctx, tx, site, everyCard); err != nil {
				return err
			}
		}
		_, err = s.deriveSite(ctx, tx, site)
		return err
	})
}

// Sites returns all sites by code.
func (s *Store) Sites(ctx context.Context) ([]SiteSummary, error) {
	sites, err := collect(ctx, s.reader, scanSummary, summaryQuery+`
		ORDER BY site.code`)
	if err != nil {
		return nil, fmt.Errorf("list sites: %w", err)
	}
	return sites, nil
}

// Site returns one site, or NotFound.
func (s *Store) Site(ctx context.Context, code string) (SiteDetail, error) {
	var d SiteDetail
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		found, err := collect(ctx, q, scanSummary, summaryQuery+`
			WHERE site.id = ?`, site.id)
		if err != nil {
			return err
		}
		d.SiteSummary = found[0]
		if d.Coverage, err = stretches(ctx, q, site.id); err != nil {
			return err
		}
		d.Runs, err = runs(ctx, q, site.id)
		return err
	})
	if err != nil {
		return SiteDetail{}, fmt.Errorf("site %s: %w", code, err)
	}
	return d, nil
}

const siteColumns = `site.id, site.code, site.name, site.latitude, site.longitude, site.zone,
	site.installed_on, site.clock, site.profile, site.thresholds`

const summaryQuery = `
	SELECT ` + siteColumns + `,
		(SELECT count(*) FROM card WHERE card.site = site.id),
		(SELECT count(*) FROM finding WHERE finding.site = site.id AND ` + unruled + `),
		totals.last_card_at, ` + totalsColumns + `
	FROM site
	JOIN totals ON totals.site = site.id`

func scanSummary(rows *sql.Rows) (SiteSummary, error) {
	var s SiteSummary
	var site keptSite
	fields, finish := site.fields()
	fields = append(fields, &s.Cards, &s.OpenFindings, &s.LastCardAt)
	fields = append(fields, totalsFields(&s.Totals)...)
	if err := rows.Scan(fields...); err != nil {
		return s, err
	}
	err := finish()
	s.Site = site.Site
	return s, err
}

// fields returns where Scan puts siteColumns, and what to call after it.
func (s *keptSite) fields() ([]any, func() error) {
	var profile, thresholds []byte
	fields := []any{
		&s.id, &s.Code, &s.Name, &s.Latitude, &s.Longitude, &s.Zone,
		&s.InstalledOn, &s.Clock, &profile, &thresholds,
	}
	return fields, func() error {
		return errors.Join(json.Unmarshal(profile, &s.Profile), json.Unmarshal(thresholds, &s.Thresholds))
	}
}

func scanSite(rows *sql.Rows) (keptSite, error) {
	var s keptSite
	fields, finish := s.fields()
	if err := rows.Scan(fields...); err != nil {
		return s, err
	}
	return s, finish()
}

// findSite returns a kept site, or NotFound.
func findSite(ctx context.Context, q querier, code string) (keptSite, error) {
	found, err := collect(ctx, q, scanSite, `
		SELECT `+siteColumns+`
		FROM site
		WHERE code = ?`, code)
	if err != nil {
		return keptSite{}, fmt.Errorf("find site %s: %w", code, err)
	}
	if len(found) == 0 {
		return keptSite{}, &usage.Fault{
			Kind: usage.NotFound,
			What: fmt.Sprintf("there is no site %q", shorten(code)),
			Try:  "look at the list of sites for its code, or add the site first",
		}
	}
	return found[0], nil
}

func insertSite(ctx context.Context, tx *tx, s usage.Site) (int64, error) {
	args, err := siteArgs(s)
	if err != nil {
		return 0, err
	}
	done, err := tx.ExecContext(ctx, `
		INSERT INTO site (code, name, latitude, longitude, zone, installed_on, clock, profile, thresholds)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`, args...)
	if err != nil {
		return 0, codeFault(s.Code, err)
	}
	return done.LastInsertId()
}

func updateSite(ctx context.Context, tx *tx, s keptSite) error {
	args, err := siteArgs(s.Site)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `
		UPDATE site
		SET code = ?, name = ?, latitude = ?, longitude = ?, zone = ?, installed_on = ?, clock = ?, profile = ?, thresholds = ?
		WHERE id = ?`, append(args, s.id)...)
	return codeFault(s.Code, err)
}

func siteArgs(s usage.Site) ([]any, error) {
	profile, err := json.Marshal(s.Profile)
	if err != nil {
		return nil, fmt.Errorf("profile of %s: %w", s.Code, err)
	}
	thresholds, err := json.Marshal(s.Thresholds)
	if err != nil {
		return nil, fmt.Errorf("thresholds of %s: %w", s.Code, err)
	}
	return []any{
		s.Code, s.Name, s.Latitude, s.Longitude, s.Zone, int64(s.InstalledOn),
		string(s.Clock), string(profile), string(thresholds),
	}, nil
}

func codeFault(code string, err error) error {
	if err == nil {
		return nil
	}
	if isDuplicate(err) {
		return &usage.Fault{
			Kind: usage.Conflict,
			What: "there is already a site " + code,
			Try:  "choose another code, or change the site that has it",
		}
	}
	return fmt.Errorf("keep site %s: %w", code, err)
}

func withDefaults(s usage.Site) usage.Site {
	s.Name = strings.TrimSpace(s.Name)
	s.Clock = cmp.Or(s.Clock, usage.ClockFixed)
	s.Thresholds = cmp.Or(s.Thresholds, usage.DefaultThresholds)
	return s
}

var codeForm = regexp.MustCompile(`^[A-Z0-9]{1,8}$`)

// Limits of what a site may say of itself.
const (
	nameRunes  = 80
	maxRattleS = usage.MaxRattleS
	maxAjarS   = usage.MaxAjarS
	maxJoinS   = usage.MaxJoinS
)

var (
	firstInstall = usage.DateOf(1990, 1, 1)
	lastInstall  = usage.DateOf(2100, 12, 31)
)

// checkSite returns Invalid for the first field that makes no sense.
func checkSite(s usage.Site) error {
	for _, c := range []struct {
		good      bool
		what, try string
	}{
		{codeForm.MatchString(s.Code), fmt.Sprintf("the code %q is no site code", shorten(s.Code)), "use 1 to 8 of the letters A to Z and the digits 0 to 9"},
		{s.Name != "", "the site has no name", "give the name that people call the box by"},
		{utf8.ValidString(s.Name) && utf8.RuneCountInString(s.Name) <= nameRunes, "the name of the site is too long or is no text", fmt.Sprintf("use at most %d characters", nameRunes)},
		{math.Abs(s.Latitude) <= 90, fmt.Sprintf("latitude %v is not on the globe", s.Latitude), "give degrees from -90 to 90, north positive"},
		{math.Abs(s.Longitude) <= 180, fmt.Sprintf("longitude %v is not on the globe", s.Longitude), "give degrees from -180 to 180, east positive"},
		{zoneLoads(s.Zone), fmt.Sprintf("there is no time zone %q", shorten(s.Zone)), "give a name of the IANA list, such as Europe/Dublin"},
		{s.InstalledOn >= firstInstall && s.InstalledOn <= lastInstall, fmt.Sprintf("the site cannot have been installed on %s", s.InstalledOn), "give a date from 1990 to 2100"},
		{s.Clock == usage.ClockFixed || s.Clock == usage.ClockCivil || s.Clock == usage.ClockUTC, fmt.Sprintf("a logger's clock cannot keep %q", shorten(string(s.Clock))), "use fixed, civil or utc"},
		{knownDateOrder(s.Profile.DateOrder), fmt.Sprintf("there is no date order %q", shorten(s.Profile.DateOrder)), "use dmy, mdy or ymd, or leave it empty"},
		{s.Thresholds.RattleS >= 0 && s.Thresholds.RattleS <= maxRattleS, fmt.Sprintf("a rattle cannot be shorter than %d s", s.Thresholds.RattleS), fmt.Sprintf("use 0 to %d seconds", maxRattleS)},
		{s.Thresholds.AjarS > s.Thresholds.RattleS && s.Thresholds.AjarS <= maxAjarS, fmt.Sprintf("ajar cannot begin at %d s", s.Thresholds.AjarS), fmt.Sprintf("use more seconds than a rattle has, at most %d", maxAjarS)},
		{s.Thresholds.JoinS >= 0 && s.Thresholds.JoinS <= maxJoinS, fmt.Sprintf("openings %d s apart cannot be one visit", s.Thresholds.JoinS), fmt.Sprintf("use 0 to %d seconds", maxJoinS)},
	} {
		if !c.good {
			return &usage.Fault{Kind: usage.Invalid, What: c.what, Try: c.try}
		}
	}
	return nil
}

// zoneLoads reports whether name is a time zone that a site can be in.
func zoneLoads(name string) bool {
	_, err := usage.LoadZone(name)
	return err == nil
}

func knownDateOrder(order string) bool {
	return order == "" || order == "dmy" || order == "mdy" || order == "ymd"
}

// shorten keeps words of unknown length from filling a message.
func shorten(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}

func scanCode(rows *sql.Rows) (code string, err error) {
	err = rows.Scan(&code)
	return code, err
}

func siteCodes(ctx context.Context, q querier) ([]string, error) {
	codes, err := collect(ctx, q, scanCode, `
		SELECT code
		FROM site
		ORDER BY code`)
	if err != nil {
		return nil, fmt.Errorf("list sites: %w", err)
	}
	return codes, nil
}
