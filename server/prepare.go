package server

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routePrepare(r chi.Router) {
	r.Get("/prepare", s.do(s.prepare))
	r.Post("/prepare", s.do(s.prepareZip))
	r.Post("/prepare/setting", s.do(s.setCardSetting))
	r.Post("/prepare/usual", s.do(s.dropCardSetting))
}

// The instants that a clock chip of two-digit years can be set to.
var (
	firstSet = time.Date(2000, 1, 2, 0, 0, 0, 0, time.UTC).Unix()
	lastSet  = time.Date(2099, 12, 31, 0, 0, 0, 0, time.UTC).Unix()
)

// PrepareCard makes the files of a card of a site for a moment, Unix s, from its
// setting and the last card read. Errors: no such site, or a moment that no clock chip
// knows, as usage.Fault.
func PrepareCard(ctx context.Context, network Network, code string, at int64) (importer.Prepared, error) {
	if at < firstSet || at > lastSet {
		return importer.Prepared{}, invalid("a clock chip counts the years 2000 to 2099, and this moment is in none of them", "Give another moment.")
	}
	site, err := network.Site(ctx, code)
	if err != nil {
		return importer.Prepared{}, err
	}
	in := importer.PrepareIn{Site: site.Site, At: at}
	if in.Setting, err = network.CardSetting(ctx, code); err != nil {
		return importer.Prepared{}, err
	}
	if in.Last, err = lastCard(ctx, network, code); err != nil {
		return importer.Prepared{}, err
	}
	return importer.Prepare(in)
}

// lastCard returns the last card of a site that has rows; nil without one.
func lastCard(ctx context.Context, network Network, code string) (*importer.Card, error) {
	cards, err := network.Cards(ctx, code)
	if err != nil {
		return nil, err
	}
	for _, c := range slices.Backward(cards) {
		if c.Rows == 0 {
			continue
		}
		data, err := network.CardBytes(ctx, c.ID)
		if err != nil {
			return nil, err
		}
		return &importer.Card{ID: c.ID, Name: c.Name, Bytes: data, Hint: cardfile.Hint{DateOrder: c.DateOrder}}, nil
	}
	return nil, nil
}

// NextMoment returns the full hour of a site's civil time that a card prepared now is
// usually made for: the next that is an hour away at least.
func NextMoment(zone *usage.Zone, now int64) int64 {
	offset := int64(zone.OffsetAt(now + 3600))
	wall := now + 3600 + offset
	return (wall+3599)/3600*3600 - offset
}

// ZipCard packs the files of a prepared card, to be unpacked at the root of the card.
func ZipCard(p importer.Prepared, made time.Time) ([]byte, error) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range p.Files {
		entry, err := z.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Deflate, Modified: made})
		if err == nil {
			_, err = entry.Write(f.Bytes)
		}
		if err != nil {
			return nil, fmt.Errorf("pack %s: %w", f.Name, err)
		}
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("pack card: %w", err)
	}
	return b.Bytes(), nil
}

// prepare shows what a card will hold.
func (s *server) prepare(w http.ResponseWriter, r *http.Request) error {
	zone, err := usage.LoadZone(siteOf(r).Zone)
	if err != nil {
		return err
	}
	typed := strings.TrimSpace(r.URL.Query().Get("at"))
	if typed == "" {
		typed = localTime(siteOf(r).Zone, NextMoment(zone, s.Now().Unix()), localMinute)
	}
	return s.sendPrepare(w, r, http.StatusOK, typed, nil, nil)
}

// sendPrepare sends the page of a card for a moment as it was typed; setting is the
// form of the setting as it was typed, nil for what is used.
func (s *server) sendPrepare(w http.ResponseWriter, r *http.Request, status int, typed string, setting *usage.CardSetting, faults web.FieldFaults) error {
	say := s.words(r.Context())
	site := siteOf(r).Site
	page := web.PreparePage{Base: web.Base{Trail: web.TrailToSite(say, heading(site))}, Site: heading(site), At: typed, Faults: faults,
		Keeps: web.PrepareKeeps(say, site.Clock), Hint: say.Say(web.PrepareHint), Cautions: web.PrepareCautions(say)}
	at, says := localInstant(say, typed, site.Zone)
	if says != "" {
		page.Faults = append(page.Faults, web.FieldFault{Field: "at", Says: says})
		at, status = s.Now().Unix(), max(status, http.StatusBadRequest)
	}
	p, err := PrepareCard(r.Context(), s.Store, site.Code, at)
	if usage.KindOf(err) == usage.Invalid {
		page.Faults = append(page.Faults, web.FieldFault{Field: "at", Says: web.Problem(say, err) + " " + web.Try(say, err)})
		status = http.StatusBadRequest
		p, err = PrepareCard(r.Context(), s.Store, site.Code, s.Now().Unix())
	}
	if err != nil {
		return err
	}
	kept, err := s.Store.CardSetting(r.Context(), site.Code)
	if err != nil {
		return err
	}
	page.Kept = kept != nil
	page.Lead, page.Says = web.PrepareLead(say, p.Setting, p.At, p.Reading, p.OffsetS, site), web.PrepareSays(say, p.Header, p.Taken)
	for _, f := range p.Files {
		page.Files = append(page.Files, web.PreparedFile{Name: f.Name, Text: string(f.Bytes), Says: web.FileSays(say, f.Name, p.Setting, importer.TagName)})
	}
	if setting == nil {
		setting = &p.Setting
	}
	page.Form = web.NewCardSettingForm(say, *setting)
	if len(page.Faults) > 0 {
		status = http.StatusBadRequest
	}
	return s.send(w, r, status, page)
}

// prepareZip gives the card as a .zip, and notes for which moment it was made.
func (s *server) prepareZip(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(w, r); err != nil {
		return err
	}
	site := siteOf(r).Site
	typed := strings.TrimSpace(r.PostForm.Get("at"))
	at, says := localInstant(s.words(r.Context()), typed, site.Zone)
	if says != "" || at < firstSet || at > lastSet {
		return s.sendPrepare(w, r, http.StatusBadRequest, typed, nil, nil)
	}
	p, err := PrepareCard(r.Context(), s.Store, site.Code, at)
	if err != nil {
		return err
	}
	packed, err := ZipCard(p, s.Now())
	if err != nil {
		return err
	}
	if err := NotePrepared(r.Context(), s.Store, site.Code, p); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s.ZIP"`, site.Code))
	sendBytes(w, r, http.StatusOK, packed)
	return nil
}

// NotePrepared notes that a card was prepared, so that its clock set is offered when
// the service call is logged.
func NotePrepared(ctx context.Context, network Network, code string, p importer.Prepared) error {
	if p.Setting.ClockFile == "" {
		return nil
	}
	return network.AddPrepared(ctx, code, store.PreparedCard{At: p.At, Reading: p.Reading})
}

// setCardSetting keeps how the cards of the site are prepared.
func (s *server) setCardSetting(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	if err := readForm(w, r); err != nil {
		return err
	}
	setting := readCardSetting(say, r.PostForm)
	err := s.Store.SetCardSetting(r.Context(), siteOf(r).Code, &setting)
	if usage.KindOf(err) == usage.Invalid {
		faults := web.FieldFaults{{Field: "log-file", Says: web.Problem(say, err) + " " + web.Try(say, err)}}
		zone, err := usage.LoadZone(siteOf(r).Zone)
		if err != nil {
			return err
		}
		typed := localTime(siteOf(r).Zone, NextMoment(zone, s.Now().Unix()), localMinute)
		return s.sendPrepare(w, r, http.StatusBadRequest, typed, &setting, faults)
	}
	if err != nil {
		return err
	}
	return seeOther(w, r, "/sites/"+siteOf(r).Code+"/prepare")
}

// readCardSetting reads the form of a card setting. The line ends of a form are those of
// browsers, CR LF.
func readCardSetting(say *words.Words, f url.Values) usage.CardSetting {
	setting := usage.CardSetting{
		LogFile:   strings.ToUpper(strings.TrimSpace(f.Get("log-file"))),
		ClockFile: strings.ToUpper(strings.TrimSpace(f.Get("clock-file"))),
		Template:  strings.TrimRight(f.Get("template"), " "),
	}
	for _, d := range web.FirstDays(say, 0) {
		if d.Value == f.Get("first-day") {
			fmt.Sscan(d.Value, &setting.FirstDay) // one of our own numbers
		}
	}
	switch f.Get("header-from") {
	case "own":
		header := strings.TrimRight(f.Get("header"), "\r\n")
		setting.Header = &header
	case "none":
		setting.Header = new(string)
	}
	return setting
}

func (s *server) dropCardSetting(w http.ResponseWriter, r *http.Request) error {
	if err := s.Store.SetCardSetting(r.Context(), siteOf(r).Code, nil); err != nil {
		return err
	}
	return seeOther(w, r, "/sites/"+siteOf(r).Code+"/prepare")
}
