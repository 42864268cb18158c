package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"doorleaf/usage"
)

// KeptPower is a power setting of a site with when it was given.
type KeptPower struct {
	ID      int64
	Setting usage.PowerSetting
	SaidAt  int64  // Unix s
	EndedAt *int64 // Unix s; nil: it stands
}

// SetPower keeps the power setting of a site in the place of the one that stands,
// which stays on record. The same setting again changes nothing. One that makes no
// sense is Invalid.
func (s *Store) SetPower(ctx context.Context, code string, setting usage.PowerSetting) error {
	if err := setting.Check(); err != nil {
		return err
	}
	body, err := json.Marshal(setting)
	if err != nil {
		return fmt.Errorf("power setting of %s: %w", code, err)
	}
	return s.write(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		tx.touch(site.Code)
		old, err := standingPower(ctx, tx, site.id)
		if err != nil {
			return err
		}
		if old != nil {
			if same, err := json.Marshal(old.Setting); err == nil && string(same) == string(body) {
				return nil
			}
		}
		if err := endPower(ctx, tx, site.id); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `
			INSERT INTO power (site, body, said_at)
			VALUES (?, ?, ?)`, site.id, string(body), tx.now)
		if err != nil {
			return fmt.Errorf("keep power setting of %s: %w", code, err)
		}
		return tx.journal(ctx, Entry{Deed: DeedSiteChanged, Site: site.Code, Says: "power setting: " + string(body)})
	})
}

// DropPower takes back the power setting of a site; it stays on record. Without one
// it is NotFound.
func (s *Store) DropPower(ctx context.Context, code string) error {
	return s.write(ctx, func(tx *tx) error {
		site, err := findSite(ctx, tx, code)
		if err != nil {
			return err
		}
		tx.touch(site.Code)
		old, err := standingPower(ctx, tx, site.id)
		if err != nil {
			return err
		}
		if old == nil {
			return &usage.Fault{
				Kind: usage.NotFound,
				What: fmt.Sprintf("%s has no power setting", site.Code),
				Try:  "look again: somebody may have taken it back already",
			}
		}
		if err := endPower(ctx, tx, site.id); err != nil {
			return err
		}
		return tx.journal(ctx, Entry{Deed: DeedSiteChanged, Site: site.Code, Says: "the power setting was taken back"})
	})
}

// PowerHistory returns all power settings of a site that were ever given, the latest
// first.
func (s *Store) PowerHistory(ctx context.Context, code string) ([]KeptPower, error) {
	var all []KeptPower
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		all, err = collect(ctx, q, scanPower, `
			SELECT id, body, said_at, ended_at
			FROM power
			WHERE site = ?
			ORDER BY id DESC`, site.id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("power settings of %s: %w", code, err)
	}
	return all, nil
}

func scanPower(rows *sql.Rows) (KeptPower, error) {
	var k KeptPower
	var body []byte
	if err := rows.Scan(&k.ID, &body, &k.SaidAt, &k.EndedAt); err != nil {
		return k, err
	}
	if err := json.Unmarshal(body, &k.Setting); err != nil {
		return k, fmt.Errorf("power setting %d: %w", k.ID, err)
	}
	return k, nil
}

// standingPower returns the setting of a site that stands, nil for none.
func standingPower(ctx context.Context, q querier, site int64) (*KeptPower, error) {
	found, err := collect(ctx, q, scanPower, `
		SELECT id, body, said_at, ended_at
		FROM power
		WHERE site = ? AND ended_at IS NULL`, site)
	if err != nil {
		return nil, fmt.Errorf("find power setting: %w", err)
	}
	if len(found) == 0 {
		return nil, nil
	}
	return &found[0], nil
}

func endPower(ctx context.Context, tx *tx, site int64) error {
	_, err := tx.ExecContext(ctx, `
		UPDATE power
		SET ended_at = ?
		WHERE site = ? AND ended_at IS NULL`, tx.now, site)
	if err != nil {
		return fmt.Errorf("end power setting: %w", err)
	}
	return nil
}

// Outlook is what the outlooks on a site are made from, all of one commit. It comes
// of one walk along the openings.
type Outlook struct {
	Site     usage.Site
	Setting  *usage.PowerSetting // nil: none stands
	Doors    []usage.DoorDay
	Visits   []usage.VisitTime // timed, in order of time
	Untimed  []usage.Bracket
	Coverage []usage.Stretch
	Calls    []usage.ServiceCall
	Days     []usage.Day
	Months   []usage.MonthTally
	Resets   []usage.Finding // findings about a clock that was reset or stood still: kind and times
}

// Outlook returns what the outlooks on a site are made from.
func (s *Store) Outlook(ctx context.Context, code string) (Outlook, error) {
	var o Outlook
	err := s.read(ctx, func(q querier) error {
		site, err := findSite(ctx, q, code)
		if err != nil {
			return err
		}
		o.Site = site.Site
		return o.load(ctx, q, site.id)
	})
	if err != nil {
		return Outlook{}, fmt.Errorf("outlook on %s: %w", code, err)
	}
	return o, nil
}

func (o *Outlook) load(ctx context.Context, q querier, site int64) error {
	kept, err := standingPower(ctx, q, site)
	if err != nil {
		return err
	}
	if kept != nil {
		o.Setting = &kept.Setting
	}
	if o.Coverage, err = stretches(ctx, q, site); err != nil {
		return err
	}
	if o.Calls, err = calls(ctx, q, site); err != nil {
		return err
	}
	if o.Days, err = values(ctx, q, dayTable, `date`, site); err != nil {
		return err
	}
	if o.Months, err = values(ctx, q, monthTable, `month`, site); err != nil {
		return err
	}
	if o.Untimed, err = values(ctx, q, bracketTable, `number`, site); err != nil {
		return err
	}
	if o.Resets, err = clockResets(ctx, q, site); err != nil {
		return err
	}
	return o.walk(ctx, q, site)
}

func clockResets(ctx context.Context, q querier, site int64) ([]usage.Finding, error) {
	return collect(ctx, q, func(rows *sql.Rows) (usage.Finding, error) {
		var f usage.Finding
		err := rows.Scan(&f.Key, &f.Kind, &f.From, &f.To)
		return f, err
	}, `
		SELECT key, kind, from_at, to_at
		FROM finding
		WHERE site = ? AND kind IN ('clock reset', 'clock stopped')
		ORDER BY from_at, key`, site)
}

// walk goes along the openings once.
func (o *Outlook) walk(ctx context.Context, q querier, site int64) error {
	zone, err := usage.LoadZone(o.Site.Zone)
	if err != nil {
		return err
	}
	doors, begun := usage.NewDoorTally(zone), int32(0)
	err = walk(ctx, q, func(rows *sql.Rows) error {
		_, b, err := scanBlock(rows)
		for i := range b.openings {
			e := &b.openings[i]
			doors.Add(e)
			if e.Visit <= begun {
				continue
			}
			if begun = e.Visit; e.Timed {
				o.Visits = append(o.Visits, usage.VisitTime{At: e.At, ErrorS: e.ErrorS})
			}
		}
		return err
	}, `
		SELECT number, count, body
		FROM block
		WHERE site = ?
		ORDER BY number`, site)
	if err != nil {
		return err
	}
	o.Doors = doors.Days(o.Days)
	usage.SortVisitTimes(o.Visits)
	return nil
}

// Power returns what PowerOutlook and CounterWear are asked with; nil without a
// setting.
func (o *Outlook) Power(now int64) *usage.PowerIn {
	if o.Setting == nil {
		return nil
	}
	return &usage.PowerIn{
		Site: o.Site, Setting: *o.Setting, Doors: o.Doors, Untimed: o.Untimed,
		Coverage: o.Coverage, Calls: o.Calls, Now: now,
	}
}

// Coin returns what CoinOutlook is asked with; nil without a setting.
func (o *Outlook) Coin(now int64) *usage.CoinIn {
	if o.Setting == nil {
		return nil
	}
	return &usage.CoinIn{Site: o.Site, Coin: o.Setting.Coin, Calls: o.Calls, Findings: o.Resets, Now: now}
}

// Light returns what WouldLightHelp is asked with.
func (o *Outlook) Light(now int64, rule usage.LightRule, lamp usage.Lamp) usage.LightIn {
	return usage.LightIn{Site: o.Site, Days: o.Days, Months: o.Months, Power: o.Power(now), Now: now, Rule: rule, Lamp: lamp}
}

// Restock returns what RestockOutlook is asked with.
func (o *Outlook) Restock(now int64, hours, weeks int) usage.RestockIn {
	in := usage.RestockIn{Site: o.Site, Coverage: o.Coverage, Calls: o.Calls, Hours: hours, Weeks: weeks, Now: now}
	for _, v := range o.Visits {
		in.Visits = append(in.Visits, v.At)
	}
	return in
}
