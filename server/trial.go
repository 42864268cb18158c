package server

import (
	"net/http"
	"strconv"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// thresholdsFromForm reads the limits of a site's form.
func thresholdsFromForm(say *words.Words, f web.SiteForm) (usage.Thresholds, web.FieldFaults) {
	var faults web.FieldFaults
	read := func(field, text string, most int32) int32 {
		v, err := strconv.ParseInt(text, 10, 32)
		if err != nil || v < 0 || v > int64(most) {
			faults = append(faults, web.LimitFault(say, field))
		}
		return int32(v)
	}
	t := usage.Thresholds{
		JoinS: read("join", f.Join, usage.MaxJoinS), RattleS: read("rattle", f.Rattle, usage.MaxRattleS), AjarS: read("ajar", f.Ajar, usage.MaxAjarS),
	}
	if len(faults) == 0 && t.AjarS <= t.RattleS {
		faults = append(faults, web.LimitFault(say, "ajar"))
	}
	return t, faults
}

// trial says how a site's last whole season would be counted with the limits of a form.
func (s *server) trial(r *http.Request, form web.SiteForm) (*web.Trial, error) {
	site, say := siteOf(r), s.words(r.Context())
	limits, faults := thresholdsFromForm(say, form)
	if len(faults) > 0 {
		return &web.Trial{Says: say.Say(web.TrialWrong)}, nil
	}
	if site.Totals.FirstAt == 0 {
		return &web.Trial{Says: say.Say(web.TrialNone)}, nil
	}
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return nil, err
	}
	first, _ := zone.Civil(site.Totals.FirstAt)
	last, _ := zone.Civil(site.Totals.LastAt)
	of := say.Say(web.TrialAll)
	if season, whole := lastWhole(first, last, usage.HemisphereOf(site.Latitude)); whole {
		first, last, of = season.First(), season.Last(), say.Season(season)
	}
	trials, err := s.Store.TryThresholds(r.Context(), site.Code, first, last, site.Thresholds, limits)
	if err != nil {
		return nil, err
	}
	return web.TrialOf(say, of, trials[0], trials[1]), nil
}

// lastWhole returns the last season that lies whole between two dates.
func lastWhole(first, last usage.Date, of usage.Hemisphere) (season usage.Season, whole bool) {
	season = usage.SeasonOf(last, of)
	if season.Last() > last {
		season = usage.SeasonOf(season.First()-1, of)
	}
	return season, season.First() >= first
}
