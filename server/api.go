package server

import (
	_ "embed"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
)

// openAPI describes the JSON below /api/ (OpenAPI 3.1).
//
//go:embed openapi.json
var openAPI []byte

func (s *server) routeAPI(r chi.Router) {
	r.Get("/healthz", s.do(s.health))
	r.Get("/api/openapi.json", s.do(func(w http.ResponseWriter, r *http.Request) error {
		w.Header().Set("Content-Type", "application/json")
		sendBytes(w, r, http.StatusOK, openAPI)
		return nil
	}))
	r.Get("/api/sites", s.do(s.apiSites))
	r.Route("/api/sites/{code}", func(r chi.Router) {
		r.Use(s.withSite)
		r.Get("/", s.do(s.apiSite))
		r.Get("/pattern", s.do(s.apiPattern))
		r.Get("/days", s.do(s.apiDays))
		r.Get("/openings", s.do(s.apiOpenings))
		r.Get("/visits", s.do(s.apiVisits))
		r.Get("/findings", s.do(s.apiFindings))
		r.Get("/power", s.do(s.apiPower))
		r.Get("/light", s.do(s.apiLight))
	})
	r.Get("/api/seasons/{season}", s.do(s.apiSeason))
}

// healthJSON is the answer of /healthz.
type healthJSON struct {
	Status string `json:"status"`
	Sites  int    `json:"sites"`
}

// health answers when the store answers.
func (s *server) health(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	w.Header().Set("Cache-Control", "no-store")
	return sendJSON(w, r, healthJSON{Status: "ok", Sites: len(sites)})
}

// siteJSON is a site in the list of sites.
type siteJSON struct {
	Code         string     `json:"code"`
	Name         string     `json:"name"`
	Latitude     float64    `json:"latitude"`
	Longitude    float64    `json:"longitude"`
	TimeZone     string     `json:"time_zone"`
	InstalledOn  usage.Date `json:"installed_on"`
	LastCardAt   *string    `json:"last_card_at"`
	OpenFindings int        `json:"open_findings"`
}

// siteDetailJSON is one site by itself.
type siteDetailJSON struct {
	siteJSON
	Profile  profileJSON   `json:"profile"`
	Coverage []stretchJSON `json:"coverage"`
	Runs     []runJSON     `json:"runs"`
	Totals   totalsJSON    `json:"totals"`
}

type profileJSON struct {
	DateOrder  *string            `json:"date_order"` // null: inferred from each card
	Clock      usage.ClockKeeping `json:"clock"`
	Thresholds usage.Thresholds   `json:"thresholds"`
}

type stretchJSON struct {
	From *string           `json:"from"`
	To   *string           `json:"to"`
	Kind usage.StretchKind `json:"kind"`
}

// runJSON is a run. Readings are what the logger's clock showed, without zone.
type runJSON struct {
	FirstReading string       `json:"first_reading"`
	LastReading  string       `json:"last_reading"`
	OffsetS      int32        `json:"offset_s"`
	FollowsZone  bool         `json:"follows_zone"`
	Anchors      []anchorJSON `json:"anchors"`
	Why          string       `json:"why"`
	Openings     int          `json:"openings"`
}

type anchorJSON struct {
	Reading string  `json:"reading"`
	At      *string `json:"at"`
	ErrorS  int32   `json:"error_s"`
	Kind    string  `json:"kind"`
}

type totalsJSON struct {
	usage.Totals
	FirstAt *string `json:"first_at"`
	LastAt  *string `json:"last_at"`
}

// clockface writes instants as RFC 3339 with the offset of one zone.
type clockface struct{ zone *usage.Zone }

// faceOf returns the clockface of a site.
func faceOf(site usage.Site) (clockface, error) {
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return clockface{}, fmt.Errorf("site %s: %w", site.Code, err)
	}
	return clockface{zone}, nil
}

// The instants that RFC 3339 can write in any zone: years 1 to 9998.
var (
	earliestWritten = time.Date(1, 1, 2, 0, 0, 0, 0, time.UTC).Unix()
	latestWritten   = time.Date(9998, 12, 31, 0, 0, 0, 0, time.UTC).Unix()
)

// at writes an instant, Unix s; nil for one that has no written form.
func (c clockface) at(unix int64) *string {
	if unix < earliestWritten || unix > latestWritten {
		return nil
	}
	offset := int(c.zone.OffsetAt(unix))
	written := time.Unix(unix, 0).In(time.FixedZone("", offset)).Format(time.RFC3339)
	return &written
}

// known is at for an instant that is 0 where it is not known.
func (c clockface) known(unix int64) *string {
	if unix == 0 {
		return nil
	}
	return c.at(unix)
}

func wallReading(reading int64) string {
	return time.Unix(reading, 0).UTC().Format("2006-01-02T15:04:05")
}

func siteAsJSON(site store.SiteSummary) (siteJSON, error) {
	face, err := faceOf(site.Site)
	if err != nil {
		return siteJSON{}, err
	}
	out := siteJSON{
		Code: site.Code, Name: site.Name, Latitude: site.Latitude, Longitude: site.Longitude,
		TimeZone: site.Zone, InstalledOn: site.InstalledOn, OpenFindings: site.OpenFindings,
	}
	if site.LastCardAt != nil {
		out.LastCardAt = face.at(*site.LastCardAt)
	}
	return out, nil
}

func (s *server) apiSites(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	out := make([]siteJSON, len(sites))
	for i, site := range sites {
		if out[i], err = siteAsJSON(site); err != nil {
			return err
		}
	}
	return sendJSON(w, r, out)
}

func (s *server) apiSite(w http.ResponseWriter, r *http.Request) error {
	site := siteOf(r)
	face, err := faceOf(site.Site)
	if err != nil {
		return err
	}
	head, err := siteAsJSON(site.SiteSummary)
	if err != nil {
		return err
	}
	out := siteDetailJSON{
		siteJSON: head,
		Profile:  profileJSON{Clock: site.Clock, Thresholds: site.Thresholds},
		Coverage: make([]stretchJSON, len(site.Coverage)),
		Runs:     make([]runJSON, len(site.Runs)),
		Totals:   totalsJSON{site.Totals, face.known(site.Totals.FirstAt), face.known(site.Totals.LastAt)},
	}
	if order := site.Profile.DateOrder; order != "" {
		out.Profile.DateOrder = &order
	}
	for i, c := range site.Coverage {
		out.Coverage[i] = stretchJSON{face.at(c.From), face.at(c.To), c.Kind}
	}
	for i, run := range site.Runs {
		out.Runs[i] = runAsJSON(run, face)
	}
	return sendJSON(w, r, out)
}

func runAsJSON(run usage.Run, face clockface) runJSON {
	out := runJSON{
		FirstReading: wallReading(run.FirstReading), LastReading: wallReading(run.LastReading),
		OffsetS: run.OffsetS, FollowsZone: run.Zone, Why: run.Why, Openings: run.Last - run.First + 1,
		Anchors: make([]anchorJSON, len(run.Anchors)),
	}
	for i, a := range run.Anchors {
		out.Anchors[i] = anchorJSON{wallReading(a.Reading), face.at(a.True), a.ErrorS, a.Kind}
	}
	return out
}

func (s *server) apiPattern(w http.ResponseWriter, r *http.Request) error {
	site := siteOf(r)
	season, err := seasonOf(r.URL.Query(), site.Latitude)
	if err != nil {
		return err
	}
	months, err := s.Store.Months(r.Context(), site.Code)
	if err != nil {
		return err
	}
	return sendJSON(w, r, usage.PatternOf(site.Code, season, months))
}

// dayJSON is the tally of a civil date.
type dayJSON struct {
	Date       usage.Date `json:"date"`
	Openings   int32      `json:"openings"`
	Visits     int32      `json:"visits"`
	OpenS      int64      `json:"open_s"`
	DarkVisits int32      `json:"dark_visits"`
	ExposureH  float64    `json:"exposure_h"`
}

// daysMost is the longest period of days that may be asked for: ten years.
const daysMost = 3653

// apiDays lists the days of a period without a gap. Where one end of the period
// is open, the list begins or ends with the first or last day that has data.
func (s *server) apiDays(w http.ResponseWriter, r *http.Request) error {
	from, to, err := periodOf(r.URL.Query())
	if err != nil {
		return err
	}
	if from != nil && to != nil && *to-*from >= daysMost {
		return invalid(fmt.Sprintf("%s to %s is more than ten years", from, to), "Ask for a shorter period.")
	}
	first, last := firstDate, lastDate
	if from != nil {
		first = *from
	}
	if to != nil {
		last = *to
	}
	days, err := s.Store.Days(r.Context(), siteOf(r).Code, first, last)
	if err != nil {
		return err
	}
	return sendJSON(w, r, withoutGaps(days, from, to))
}

// withoutGaps fills the dates between days, which are ascending, with empty
// ones, and where from or to is given, those up to it; without days only where
// both are.
func withoutGaps(days []usage.Day, from, to *usage.Date) []dayJSON {
	out := []dayJSON{}
	if len(days) == 0 && (from == nil || to == nil) {
		return out
	}
	if from == nil {
		from = &days[0].Date
	}
	if to == nil {
		to = &days[len(days)-1].Date
	}
	for date := *from; date <= *to; date++ {
		day := dayJSON{Date: date}
		if len(days) > 0 && days[0].Date == date {
			d := days[0]
			day = dayJSON{date, d.Openings, d.Visits, d.OpenS, d.Dark, float64(d.ExposureS) / 3600}
			days = days[1:]
		}
		out = append(out, day)
	}
	return out
}

// periodOf reads the parameters from and to; nil is an open end.
func periodOf(q url.Values) (from, to *usage.Date, err error) {
	if from, err = dateOf(q, "from"); err != nil {
		return nil, nil, err
	}
	if to, err = dateOf(q, "to"); err != nil {
		return nil, nil, err
	}
	if from != nil && to != nil && *to < *from {
		return nil, nil, invalid(fmt.Sprintf("the period ends on %s, before it begins on %s", to, from), "Both dates are included; turn them round.")
	}
	return from, to, nil
}

func dateOf(q url.Values, name string) (*usage.Date, error) {
	if !q.Has(name) {
		return nil, nil
	}
	d, err := usage.ParseDate(q.Get(name))
	if err != nil {
		return nil, invalid(fmt.Sprintf("%s=%q is no date", name, q.Get(name)), "Write it as 2024-03-01.")
	}
	return &d, nil
}

// The limits of a page of openings.
const (
	pageUsual = 1000
	pageMost  = 10_000
)

// openingJSON is an opening. An untimed one has no At and no ErrorS, and has
// Earliest and Latest instead, null where nothing bounds it.
type openingJSON struct {
	At       *string `json:"at"`
	ErrorS   *int32  `json:"error_s"`
	OpenS    *int32  `json:"open_s"`
	Class    string  `json:"class"`
	Visit    *int32  `json:"visit"`
	Card     string  `json:"card"`
	Line     int32   `json:"line"`
	Offset   int64   `json:"offset"`
	Raw      string  `json:"raw"`
	Earliest bound   `json:"earliest,omitzero"`
	Latest   bound   `json:"latest,omitzero"`
}

// bound is one end of an untimed opening's bracket. Its zero value is left out.
type bound struct {
	there bool
	at    *string
}

// MarshalJSON writes the instant, or null.
func (b bound) MarshalJSON() ([]byte, error) {
	if b.at == nil {
		return []byte("null"), nil
	}
	return strconv.AppendQuote(nil, *b.at), nil
}

// apiOpenings is a page of openings in logbook order, with the address of the
// next in a Link header (RFC 8288).
func (s *server) apiOpenings(w http.ResponseWriter, r *http.Request) error {
	site, q := siteOf(r), r.URL.Query()
	var ask store.Page
	var err error
	if ask.From, ask.To, err = periodOf(q); err != nil {
		return err
	}
	if ask.Limit, err = limitOf(q); err != nil {
		return err
	}
	if ask.After, err = afterOf(q); err != nil {
		return err
	}
	face, err := faceOf(site.Site)
	if err != nil {
		return err
	}
	rows, next, err := s.Store.Openings(r.Context(), site.Code, ask)
	if err != nil {
		return err
	}
	if next >= 0 {
		w.Header().Set("Link", "<"+nextAddress(r.URL, next)+`>; rel="next"`)
	}
	out := make([]openingJSON, len(rows))
	for i, row := range rows {
		out[i] = openingAsJSON(row, face)
	}
	return sendJSON(w, r, out)
}

func openingAsJSON(row store.OpeningRow, face clockface) openingJSON {
	out := openingJSON{
		OpenS: unlessUnknown(row.OpenS), Class: row.Class.String(), Visit: unlessUnknown(row.Visit),
		Card: row.CardID, Line: row.Line, Offset: row.Offset, Raw: row.Raw,
	}
	if row.Timed {
		errorS := row.ErrorS
		out.At, out.ErrorS = face.at(row.At), &errorS
		return out
	}
	out.Earliest = bound{true, face.known(row.Earliest)}
	out.Latest = bound{true, face.known(row.Latest)}
	return out
}

func unlessUnknown(v int32) *int32 {
	if v == usage.Unknown {
		return nil
	}
	return &v
}

func limitOf(q url.Values) (int, error) {
	if !q.Has("limit") {
		return pageUsual, nil
	}
	limit, err := strconv.Atoi(q.Get("limit"))
	if err != nil || limit < 1 || limit > pageMost {
		return 0, invalid(fmt.Sprintf("limit=%q is no number from 1 to %d", q.Get("limit"), pageMost), "Ask for fewer openings a page and follow the Link header.")
	}
	return limit, nil
}

// findingJSON is a finding. Ruling is null as long as nobody has ruled on it.
type findingJSON struct {
	Key      string         `json:"key"`
	Kind     string         `json:"kind"`
	From     *string        `json:"from"`
	To       *string        `json:"to"`
	Says     string         `json:"says"`
	Ruling   *rulingJSON    `json:"ruling"`
	Changes  string         `json:"changes"`
	Choices  []usage.Choice `json:"choices"`
	Evidence []rowJSON      `json:"evidence"`
}

// rulingJSON is the answer to a finding that stands.
type rulingJSON struct {
	Answer usage.Answer `json:"answer"`
	By     string       `json:"by"` // "" where nobody signed
	At     *string      `json:"at"`
	Why    string       `json:"why"`
}

// rowJSON is a line of a card.
type rowJSON struct {
	Card   string `json:"card"`
	Line   int32  `json:"line"`
	Offset int64  `json:"offset"`
}

func (s *server) apiFindings(w http.ResponseWriter, r *http.Request) error {
	site := siteOf(r)
	face, err := faceOf(site.Site)
	if err != nil {
		return err
	}
	findings, err := s.Store.Findings(r.Context(), site.Code)
	if err != nil {
		return err
	}
	cards, err := s.Store.Cards(r.Context(), site.Code)
	if err != nil {
		return err
	}
	out := make([]findingJSON, len(findings))
	for i, f := range findings {
		out[i] = findingAsJSON(f, cards, face)
	}
	return sendJSON(w, r, out)
}

// findingAsJSON writes a finding. cards are those that its evidence counts.
func findingAsJSON(f usage.Finding, cards []store.Card, face clockface) findingJSON {
	out := findingJSON{
		Key: f.Key, Kind: f.Kind, From: face.known(f.From), To: face.known(f.To), Says: f.Says,
		Changes: f.Changes, Choices: append([]usage.Choice{}, f.Choices...), Evidence: []rowJSON{},
	}
	if r := f.Ruling; r != nil {
		out.Ruling = &rulingJSON{Answer: r.Answer, By: r.By, At: face.at(r.At), Why: r.Why}
	}
	for _, e := range f.Evidence {
		if e.Card >= 0 && int(e.Card) < len(cards) {
			out.Evidence = append(out.Evidence, rowJSON{cards[e.Card].ID, e.Line, e.Offset})
		}
	}
	return out
}
