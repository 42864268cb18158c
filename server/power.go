package server

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

// routeOutlooks routes what is worked out about what to do at a site.
func (s *server) routeOutlooks(r chi.Router) {
	r.Get("/power", s.do(s.power))
	r.Get("/power/change", s.do(s.powerForm))
	r.Post("/power/change", s.do(s.setPower))
	r.Post("/power/withdraw", s.do(s.dropPower))
	r.Get("/light", s.do(s.light))
	r.Get("/restock", s.do(s.restock))
	r.Get("/daylight", s.do(s.daylight))
}

// powerAnswer is all that is said of a site's power.
type powerAnswer struct {
	outlook store.Outlook
	pack    *usage.PowerForecast // nil without a setting, as are the others
	coin    *usage.CoinForecast
	wear    *usage.WearForecast
}

// powerOf works out what is said of the power of the request's site.
func (s *server) powerOf(r *http.Request) (powerAnswer, error) {
	outlook, err := s.Store.Outlook(r.Context(), siteOf(r).Code)
	if err != nil {
		return powerAnswer{}, err
	}
	return powerBy(outlook, s.Now().Unix())
}

// powerBy works out what is said of a site's power at an instant, Unix s.
func powerBy(outlook store.Outlook, now int64) (powerAnswer, error) {
	a := powerAnswer{outlook: outlook}
	in := outlook.Power(now)
	if in == nil {
		return a, nil
	}
	var err error
	if a.pack, err = usage.PowerOutlook(*in); err != nil {
		return a, err
	}
	if a.coin, err = usage.CoinOutlook(*outlook.Coin(now)); err != nil {
		return a, err
	}
	a.wear, err = usage.CounterWear(*in)
	return a, err
}

// power shows when batteries, coin cell and counter memory want a hand.
func (s *server) power(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	a, err := s.powerOf(r)
	if err != nil {
		return err
	}
	site := heading(siteOf(r).Site)
	page := web.PowerPage{
		Base: web.Base{Trail: web.TrailToSite(say, site)}, Site: site,
		Lead:     "When the batteries will be empty can be said once the pack and what the logger draws are set.",
		Cautions: []string{say.Say(web.CautionCoin), say.Say(web.CautionPack), say.Say(web.CautionCard)},
	}
	if a.pack == nil {
		return s.send(w, r, http.StatusOK, page)
	}
	setting := *a.outlook.Setting
	page.Set, page.Due, page.Lead = true, a.pack.Due, web.PowerLead(say, a.pack, site.Zone)
	page.Facts, page.Mind = web.PowerFacts(say, a.pack, site.Zone), []string{say.Say(web.PowerRule)}
	if len(a.pack.Past) > 0 {
		page.Mind = append(page.Mind, say.Say(web.PastRule))
	}
	page.Learned, page.Past = web.LearnedWords(say, a.pack.Learned), web.PastPacks(say, a.pack.Past, site.Zone)
	page.CoinLead, page.Coin, page.CoinMind = web.CoinLead(say, a.coin), web.CoinFacts(say, a.coin, site.Zone), web.CoinMinds(say, a.coin)
	page.WearLead, page.Wear = web.WearLead(say, setting.Counter, a.wear), web.WearFacts(say, setting.Counter, a.wear)
	page.Setting = web.SettingFacts(say, setting)
	if page.Panel, err = s.chargePanel(r, a); err != nil {
		return err
	}
	return s.send(w, r, http.StatusOK, page)
}

// chargePanel draws the charge of the pack; nil where there is nothing to draw.
func (s *server) chargePanel(r *http.Request, a powerAnswer) (*web.Panel, error) {
	now := s.Now().Unix()
	points, err := usage.PowerCourse(*a.outlook.Power(now))
	if err != nil || len(points) == 0 || s.Charts == nil {
		return nil, err
	}
	zone, err := usage.LoadZone(a.outlook.Site.Zone)
	if err != nil {
		return nil, err
	}
	today, _ := zone.Civil(now)
	say := s.words(r.Context())
	return s.panel(say, siteOf(r).Code, "charge", say.Say("Charge left"), func() (chart.Figure, error) {
		return s.Charts.In(say).Charge(r.Context(), "charge", points, today)
	}), nil
}

// panel draws one figure. One that cannot be drawn says so in its place.
func (s *server) panel(say *words.Words, code, id, title string, draw func() (chart.Figure, error)) *web.Panel {
	figure, err := draw()
	panel := &web.Panel{Figure: figure}
	if err != nil {
		s.Log.Warn("draw chart", "chart", id, "site", code, "err", err)
		panel.ID, panel.Title, panel.Problem = id, title, say.Say(web.ChartMissing)
	}
	return panel
}

// powerForm shows the values that stand, those of a common cell, or earlier ones.
func (s *server) powerForm(w http.ResponseWriter, r *http.Request) error {
	history, err := s.Store.PowerHistory(r.Context(), siteOf(r).Code)
	if err != nil {
		return err
	}
	setting, q := usage.NewPowerSetting(), r.URL.Query()
	for _, k := range history {
		if again := q.Get("again"); again == strconv.FormatInt(k.ID, 10) || again == "" && k.EndedAt == nil {
			setting = k.Setting
		}
	}
	usePresets(&setting, q)
	since := ""
	if setting.Since != nil {
		since = setting.Since.String()
	}
	form := web.NewPowerForm(s.words(r.Context()), setting.Pack.Cells, setting.Coin.Cells, string(setting.Counter.Memory), web.PowerValues(setting), nil)
	return s.sendPowerForm(w, r, http.StatusOK, form, since, history, nil)
}

// usePresets puts the values of chosen cells into a setting.
func usePresets(setting *usage.PowerSetting, q url.Values) {
	for _, p := range usage.PackPresets {
		if p.ID == q.Get("pack") {
			setting.Pack = usage.Pack{Cells: p.ID, CapacityMAh: p.Capacity.Value, Derating: p.Derating.Value, SelfPct: p.Self.Value, TolerancePct: p.TolerancePct.Value}
		}
	}
	for _, c := range usage.CoinPresets {
		if c.ID == q.Get("coin") {
			setting.Coin.Cells, setting.Coin.CapacityMAh, setting.Coin.Derating, setting.Coin.SelfPct = c.ID, c.Capacity.Value, c.Derating.Value, c.Self.Value
		}
	}
}

func (s *server) sendPowerForm(w http.ResponseWriter, r *http.Request, status int, form web.PowerForm, since string, history []store.KeptPower, faults web.FieldFaults) error {
	say := s.words(r.Context())
	site := heading(siteOf(r).Site)
	address := "/sites/" + site.Code + "/power"
	page := web.PowerFormPage{
		Base: web.Base{Trail: append(web.TrailToSite(say, site), web.Link{Href: address, Text: "Power"})}, Site: site,
		Form: form, Since: since, Faults: faults,
	}
	link := func(pack, coin string) string {
		return address + "/change?" + url.Values{"pack": {pack}, "coin": {coin}}.Encode()
	}
	for _, p := range usage.PackPresets {
		page.Packs = append(page.Packs, web.Link{Href: link(p.ID, form.CoinCells), Text: p.Name, Here: p.ID == form.Cells})
	}
	for _, c := range usage.CoinPresets {
		page.Coins = append(page.Coins, web.Link{Href: link(form.Cells, c.ID), Text: c.Name, Here: c.ID == form.CoinCells})
	}
	for _, k := range history {
		page.Kept = page.Kept || k.EndedAt == nil
		page.Earlier = append(page.Earlier, web.EarlierPower{
			When: say.When(k.SaidAt, site.Zone), Stands: k.EndedAt == nil,
			Says: web.SettingSays(say, k.Setting), Href: fmt.Sprintf("%s/change?again=%d", address, k.ID),
		})
	}
	return s.send(w, r, status, page)
}

// setPower keeps the values of the form.
func (s *server) setPower(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	if err := readForm(w, r); err != nil {
		return err
	}
	code := siteOf(r).Code
	setting, faults := readPower(say, r.PostForm)
	if len(faults) == 0 {
		err := s.Store.SetPower(r.Context(), code, setting)
		if err == nil {
			return seeOther(w, r, "/sites/"+code+"/power")
		}
		if usage.KindOf(err) != usage.Invalid {
			return err
		}
		faults = web.FieldFaults{{Field: web.FieldCapacity, Says: strings.TrimSpace(web.Problem(say, err) + " " + web.Try(say, err))}}
	}
	history, err := s.Store.PowerHistory(r.Context(), code)
	if err != nil {
		return err
	}
	typed := map[string]string{}
	for name := range web.PowerValues(setting) {
		typed[name] = strings.TrimSpace(r.PostForm.Get(name))
	}
	form := web.NewPowerForm(say, setting.Pack.Cells, setting.Coin.Cells, string(setting.Counter.Memory), typed, faults)
	return s.sendPowerForm(w, r, http.StatusBadRequest, form, r.PostForm.Get("since"), history, faults)
}

func (s *server) dropPower(w http.ResponseWriter, r *http.Request) error {
	code := siteOf(r).Code
	if err := s.Store.DropPower(r.Context(), code); err != nil {
		return err
	}
	return seeOther(w, r, "/sites/"+code+"/power/change")
}

// readPower reads the form of a power setting and says what is wrong with it.
func readPower(say *words.Words, f url.Values) (usage.PowerSetting, web.FieldFaults) {
	var faults web.FieldFaults
	number := func(name string) float64 {
		v, ok := numberField(f.Get(name))
		if !ok {
			faults = append(faults, web.FieldFault{Field: name, Says: say.Say(web.NumberUnread)})
		}
		return v
	}
	setting := usage.PowerSetting{
		Pack: usage.Pack{
			Cells: presetID(usage.PackPresets, f.Get("cells")), CapacityMAh: number(web.FieldCapacity), Derating: number(web.FieldUsable) / 100,
			SelfPct: number(web.FieldSelf), TolerancePct: number(web.FieldTolerance),
		},
		Draw: usage.Draw{
			ActiveMA: number(web.FieldActive), StartMAs: number(web.FieldStart),
			StandbyUA: number(web.FieldStandby), TolerancePct: number(web.FieldDrawn),
		},
		Coin: usage.CoinCell{
			Cells: presetID(usage.CoinPresets, f.Get("coin-cells")), CapacityMAh: number(web.FieldCoin), Derating: number(web.FieldCoinUse) / 100,
			SelfPct: number(web.FieldCoinSelf), TypicalNA: number(web.FieldTypical), MostNA: number(web.FieldMost),
		},
		Counter: usage.Counter{
			Memory: usage.CounterMemory(f.Get("memory")), Writes: number(web.FieldWrites),
			EveryS: number(web.FieldEvery), Cells: number(web.FieldTurns),
		},
	}
	switch setting.Counter.Memory {
	case usage.CounterRAM, usage.CounterEEPROM, usage.CounterNone:
	default:
		faults = append(faults, web.FieldFault{Field: "memory", Says: say.Say(web.MemoryUnread)})
	}
	setting.Since, faults = dateField(say, f, "since", faults)
	return setting, faults
}

func presetID(list []usage.CellPreset, id string) string {
	for _, p := range list {
		if p.ID == id {
			return id
		}
	}
	return ""
}

// numberField reads a number with a decimal point or comma.
func numberField(s string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(s), ",", ".", 1), 64)
	return v, err == nil && v-v == 0
}

// powerJSON is the answer about a site's power. All of it is null without a setting.
type powerJSON struct {
	Setting   *usage.PowerSetting `json:"setting"`
	From      *string             `json:"from"`
	UsableMAh *float64            `json:"usable_mah"`
	UsedMAh   *usage.Estimate     `json:"used_mah"`
	LeftPct   *usage.Estimate     `json:"left_pct"`
	Empty     *usage.DateRange    `json:"empty"`
	ActBy     *usage.Date         `json:"act_by"`
	Due       *bool               `json:"due"`
	DrawRatio *usage.Estimate     `json:"draw_ratio"` // of what the logger draws to its profile
	Coin      *coinJSON           `json:"coin_cell"`
	Counter   *wearJSON           `json:"counter"`
}

type coinJSON struct {
	From  *string         `json:"from"`
	Empty usage.DateRange `json:"empty"`
	ActBy *usage.Date     `json:"act_by"`
	Due   bool            `json:"due"`
}

type wearJSON struct {
	UsedPct float64         `json:"used_pct"`
	Through usage.DateRange `json:"through"`
	ActBy   *usage.Date     `json:"act_by"`
	Due     bool            `json:"due"`
}

func (s *server) apiPower(w http.ResponseWriter, r *http.Request) error {
	a, err := s.powerOf(r)
	if err != nil {
		return err
	}
	var out powerJSON
	if p := a.pack; p != nil {
		face, err := faceOf(a.outlook.Site)
		if err != nil {
			return err
		}
		out = powerJSON{
			Setting: a.outlook.Setting, From: face.at(p.From), UsableMAh: &p.Usable, UsedMAh: p.Used, LeftPct: p.LeftPct,
			Empty: &p.Empty, ActBy: p.ActBy, Due: &p.Due, DrawRatio: &p.Learned.Ratio,
			Coin: &coinJSON{face.at(a.coin.From), a.coin.Empty, a.coin.ActBy, a.coin.Due},
		}
		if a.wear.Wears {
			out.Counter = &wearJSON{a.wear.UsedPct, a.wear.Through, a.wear.ActBy, a.wear.Due}
		}
	}
	return sendJSON(w, r, out)
}
