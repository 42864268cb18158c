package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeMerge(r chi.Router) {
	r.Get("/merge", s.do(s.mergeForm))
	r.Post("/merge", s.do(s.bringBundle))
	r.Get("/merge/{bundle}", s.do(s.mergeBundle))
	r.Post("/merge/{bundle}", s.do(s.takeBundle))
}

func (s *server) mergeForm(w http.ResponseWriter, r *http.Request) error {
	return s.sendMerge(w, r, http.StatusOK, web.MergePage{})
}

func (s *server) sendMerge(w http.ResponseWriter, r *http.Request, status int, page web.MergePage) error {
	say := s.words(r.Context())
	page.Base = web.Base{Trail: web.TrailToNetwork(say)}
	page.Most = importer.Megabytes(s.bundleMost())
	if page.Lead == "" {
		page.Lead = say.Say(web.MergeAsk)
	}
	w.Header().Set("Cache-Control", "no-store")
	return s.send(w, r, status, page)
}

// bringBundle reads a bundle and lays it on a tray of its own. Nothing is taken over
// yet.
func (s *server) bringBundle(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	select {
	case s.uploads <- struct{}{}:
		defer func() { <-s.uploads }()
	case <-r.Context().Done():
		return r.Context().Err()
	}
	defer lean()()
	moreTime(w, slowWork)
	r.Body = steady(w, r.Body, s.stall, slowWork)
	r.Body = http.MaxBytesReader(w, r.Body, s.bundleMost()+formBytes)
	name, data, err := bundleOf(say, r, s.bundleMost())
	if err == nil {
		_, err = s.readBundle(name, data)
	}
	if kind := usage.KindOf(err); kind != 0 {
		says := strings.TrimSpace(web.Problem(say, err) + " " + web.Try(say, err))
		return s.sendMerge(w, r, statuses[kind], web.MergePage{Faults: web.FieldFaults{{Field: "bundle", Says: says}}})
	}
	if err != nil {
		return err
	}
	packed, err := store.PackCard(data)
	if err != nil {
		return err
	}
	tray, err := s.Store.FillTray(r.Context(), []store.TrayCard{{Name: name, Packed: packed}})
	if err != nil {
		return err
	}
	return seeOther(w, r, "/merge/"+tray)
}

// bundleOf reads the one file of the form.
func bundleOf(say *words.Words, r *http.Request, most int64) (name string, data []byte, err error) {
	none := &usage.Fault{Kind: usage.Invalid, What: say.Say(web.MergeNoFile)}
	parts, err := r.MultipartReader()
	if err != nil {
		none.Err = err
		return "", nil, none
	}
	for range fieldsMost {
		part, err := parts.NextRawPart()
		if err == io.EOF {
			break
		}
		if err != nil {
			return "", nil, &usage.Fault{Kind: kindOfBody(err), What: "the upload broke off", Try: "Send it again.", Err: err}
		}
		if name = pathOf(part); part.FormName() != "bundle" || name == "" {
			continue
		}
		var held bytes.Buffer
		held.Grow(int(most) + bytes.MinRead) // or it is copied as it grows
		_, err = held.ReadFrom(io.LimitReader(part, most+1))
		data = held.Bytes()
		switch {
		case int64(len(data)) > most || err != nil && kindOfBody(err) == usage.TooLarge:
			return name, nil, &usage.Fault{Kind: usage.TooLarge, What: say.Say(web.MergeBigFile), Try: say.Say(web.MergeTry)}
		case err != nil:
			return name, nil, &usage.Fault{Kind: usage.Invalid, What: "the upload broke off", Try: "Send it again.", Err: err}
		}
		return name, data, nil
	}
	return "", nil, none
}

// bundleBytes is the largest bundle that the page takes, since it waits in memory and
// not in a file. Ten boxes' cards of ten years, each kept once a season, take half of
// it. Common practice, no source.
const bundleBytes = 32 << 20

// bundleMost is the same, where cards are held to less.
func (s *server) bundleMost() int64 { return min(bundleBytes, s.Limits.CardBytes) }

func (s *server) readBundle(name string, data []byte) (*store.Bundle, error) {
	limits := store.BundleLimits{Bytes: bodyFactor * s.Limits.TotalBytes, Parts: store.DefaultBundleLimits.Parts}
	return store.ReadBundle(bytes.NewReader(data), int64(len(data)), name, limits)
}

// waiting returns the bundle that waits on a tray.
func (s *server) waiting(r *http.Request) (name string, b *store.Bundle, err error) {
	cards, err := s.Store.Tray(r.Context(), chi.URLParam(r, "bundle"))
	if err != nil {
		return "", nil, err
	}
	if len(cards) != 1 {
		return "", nil, notFound("there is no such bundle", "Bring it again.")
	}
	data, err := s.Store.TrayBytes(r.Context(), chi.URLParam(r, "bundle"), cards[0].ID)
	if err != nil {
		return "", nil, err
	}
	b, err = s.readBundle(cards[0].Name, data)
	return cards[0].Name, b, err
}

// mergeBundle shows what a bundle would change, or what was taken over.
func (s *server) mergeBundle(w http.ResponseWriter, r *http.Request) error {
	if done := s.slips.get(chi.URLParam(r, "bundle")).merged; done != nil {
		return s.sendMerge(w, r, http.StatusOK, *done)
	}
	name, b, err := s.waiting(r)
	if err != nil {
		return err
	}
	moreTime(w, slowWork)
	m, err := s.Store.Merge(r.Context(), b, store.MergeAnswers{Try: true})
	if err != nil {
		return err
	}
	return s.sendMerge(w, r, http.StatusOK, mergePage(s.words(r.Context()), r, name, m, nil))
}

// takeBundle merges with the answers that were given, or shows the questions again that
// are open.
func (s *server) takeBundle(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	if s.slips.get(chi.URLParam(r, "bundle")).merged != nil {
		return seeOther(w, r, r.URL.Path) // the button was pressed twice
	}
	if err := readForm(w, r); err != nil {
		return err
	}
	name, b, err := s.waiting(r)
	if err != nil {
		return err
	}
	moreTime(w, slowWork)
	m, err := s.Store.Merge(r.Context(), b, store.MergeAnswers{ByKey: answersOf(r.PostForm)})
	if err != nil {
		return err
	}
	page := mergePage(say, r, name, m, r.PostForm)
	if len(m.Questions) > 0 {
		return s.sendMerge(w, r, http.StatusConflict, page)
	}
	page.Done, page.Lead = true, web.MergeLead(say, 0, len(m.Sites), true)
	s.slips.put(page.Bundle, slip{merged: &page})
	if err := s.Store.ThrowTray(context.WithoutCancel(r.Context()), page.Bundle); err != nil && usage.KindOf(err) != usage.NotFound {
		return err
	}
	return seeOther(w, r, r.URL.Path)
}

// codeField is before the key of a question in the name of the field for a free code.
const codeField = "code "

// answersOf reads the answers of the form, by question. An answer that wants a code gets
// the one that was typed.
func answersOf(form url.Values) map[string]string {
	answers := map[string]string{}
	for key := range form {
		if strings.HasPrefix(key, codeField) {
			continue
		}
		answers[key] = form.Get(key)
		if head, wants := strings.CutSuffix(answers[key], ":CODE"); wants {
			answers[key] = head + ":" + strings.ToUpper(strings.TrimSpace(form.Get(codeField+key)))
		}
	}
	return answers
}

// mergePage says what a merge asks or does. form is what was answered; nil: nothing
// yet.
func mergePage(say *words.Words, r *http.Request, name string, m store.Merged, form url.Values) web.MergePage {
	page := web.MergePage{Bundle: chi.URLParam(r, "bundle"), Name: name, Lead: web.MergeLead(say, len(m.Questions), len(m.Sites), false)}
	for _, site := range m.Sites {
		page.Sites = append(page.Sites, web.MergedSite{
			Code: site.Code, Says: web.MergedWords(say, site.New, site.Cards, site.Withdrawn, site.Records, site.Fields, site.Gained),
		})
	}
	earlier := answersOf(form)
	open := map[string]bool{}
	for _, q := range m.Questions {
		open[q.Key] = true
	}
	for _, q := range m.Questions {
		page.Questions = append(page.Questions, mergeQuestion(say, &page, q, form))
	}
	for _, key := range slices.Sorted(maps.Keys(earlier)) { // answered already: carried along
		if !open[key] && len(m.Questions) > 0 {
			page.Questions = append(page.Questions, answeredQuestion(say, key, form))
		}
	}
	return page
}

func mergeQuestion(say *words.Words, page *web.MergePage, q store.MergeQuestion, form url.Values) web.MergeQuestion {
	sum := sha256.Sum256([]byte(q.Key))
	one := web.MergeQuestion{ID: "q" + hex.EncodeToString(sum[:6]), Key: q.Key, Says: q.Says, Code: form.Get(codeField + q.Key)}
	given := form.Get(q.Key)
	for _, c := range q.Choices {
		one.Choices = append(one.Choices, web.MergeChoice{
			Value: c.Answer, Says: c.Says, Chosen: c.Answer == given, Coded: strings.HasSuffix(c.Answer, ":CODE"),
		})
	}
	if form == nil {
		return one
	}
	says := say.Say(web.MergeChoose)
	if strings.HasSuffix(given, ":CODE") {
		says = say.Say(web.MergeNoCode)
	}
	page.Faults = append(page.Faults, web.FieldFault{Field: one.ID, Says: fmt.Sprintf("%s: %s", q.Says, says)})
	return one
}

// answeredQuestion keeps an answer in the form while others are open.
func answeredQuestion(say *words.Words, key string, form url.Values) web.MergeQuestion {
	sum := sha256.Sum256([]byte(key))
	given := form.Get(key)
	return web.MergeQuestion{
		ID: "q" + hex.EncodeToString(sum[:6]), Key: key, Says: say.Say(web.MergeAnswered) + " " + key, Code: form.Get(codeField + key),
		Choices: []web.MergeChoice{{Value: given, Says: given, Chosen: true, Coded: strings.HasSuffix(given, ":CODE")}},
	}
}
