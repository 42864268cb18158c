package server

import (
	"net/http"
	"net/url"
	"strconv"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// light answers whether a light would help.
func (s *server) light(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	site := heading(siteOf(r).Site)
	rule, lamp, form, faults := readLight(say, r.URL.Query())
	page := web.LightPage{
		Base: web.Base{Trail: web.TrailToSite(say, site)}, Site: site, Form: form, Faults: faults,
		Rule: web.LightRuleWords(say, rule), Cautions: []string{say.Say(web.CautionLight)},
	}
	outlook, err := s.Store.Outlook(r.Context(), site.Code)
	if err != nil {
		return err
	}
	a, err := usage.WouldLightHelp(outlook.Light(s.Now().Unix(), rule, lamp))
	if err != nil {
		return err
	}
	page.Lead, page.Verdict = a.Says, string(a.Verdict)
	page.Rates, page.Mind = web.LightRates(say, a), web.LightMinds(say, a)
	page.Cost, page.CostSays = web.LightCostFacts(say, a.Cost), web.LightCostSays(say, a.Cost)
	status := http.StatusOK
	if len(faults) > 0 {
		status = http.StatusBadRequest
	}
	return s.send(w, r, status, page)
}

// usualLamp is the lamp that the form begins with: a small LED. Common practice, no
// source.
var usualLamp = usage.Lamp{CurrentMA: 20}

// readLight reads what was asked; a field that is not there has its usual value.
func readLight(say *words.Words, q url.Values) (usage.LightRule, usage.Lamp, web.LightForm, web.FieldFaults) {
	rule, lamp := usage.DefaultLightRule, usualLamp
	var faults web.FieldFaults
	weeks := float64(rule.Weeks)
	field := func(name string, v *float64, low, high float64) string {
		text := q.Get(name)
		if text == "" {
			return strconv.FormatFloat(*v, 'g', -1, 64)
		}
		n, ok := numberField(text)
		if !ok || n < low || n > high {
			faults = append(faults, web.FieldFault{Field: name, Says: web.LampUnread(say, low, high)})
			return text
		}
		*v = n
		return text
	}
	form := web.LightForm{
		Current: field("ma", &lamp.CurrentMA, 0, 5000),
		After:   field("after", &lamp.AfterS, 0, 3600),
		Need:    field("need", &rule.VisitsAWeek, 0, 1000),
		Weeks:   field("weeks", &weeks, 1, 520),
		Always:  q.Get("always") != "",
	}
	rule.Weeks, lamp.Always = int(weeks), form.Always
	return rule, lamp, form, faults
}

// lightJSON is the answer about a light. Rates are visits a week.
type lightJSON struct {
	Verdict   usage.LightVerdict `json:"verdict"`
	Says      string             `json:"says"`
	Now       *usage.Estimate    `json:"dark_visits_per_week"`
	Midwinter *usage.Estimate    `json:"midwinter_dark_visits_per_week"`
	Winter    usage.Date         `json:"midwinter"`
	NowMAh    *usage.Estimate    `json:"mah_per_week"`
	WinterMAh *usage.Estimate    `json:"midwinter_mah_per_week"`
	EarlierD  *float64           `json:"pack_days_earlier"`
}

func (s *server) apiLight(w http.ResponseWriter, r *http.Request) error {
	rule, lamp, _, faults := readLight(s.words(r.Context()), r.URL.Query())
	if len(faults) > 0 {
		return invalid(faults[0].Field+" is no number that makes sense", faults[0].Says)
	}
	outlook, err := s.Store.Outlook(r.Context(), siteOf(r).Code)
	if err != nil {
		return err
	}
	a, err := usage.WouldLightHelp(outlook.Light(s.Now().Unix(), rule, lamp))
	if err != nil {
		return err
	}
	return sendJSON(w, r, lightJSON{a.Verdict, a.Says, a.Now, a.Midwinter, a.Winter, a.Cost.NowMAh, a.Cost.WinterMAh, a.Cost.EarlierD})
}
