package server

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/words"
)

func (s *server) routeQuestions(r chi.Router) {
	r.Get("/questions", s.do(s.networkQuestions))
}

func (s *server) routeSiteQuestions(r chi.Router) {
	r.Get("/questions", s.do(s.siteQuestions))
	r.Post("/questions", s.do(s.answerQuestion))
	r.Post("/questions/undo", s.do(s.undoAnswer))
}

// The limits of a page of questions: how many open ones it shows with their
// evidence, how many answers below them, and how much evidence of each.
const (
	questionsShown = 20
	answersShown   = 100
	excerptsShown  = 3
	excerptLines   = 12 // of one excerpt
	linesAround    = 2
)

// The values of the form field back: the page that an answer was given on.
const (
	backNetwork = "network"
	backSite    = "site"
)

// siteAsk is what is asked about one site.
type siteAsk struct {
	site     usage.Site
	findings []usage.Finding
	rulings  []usage.Ruling
	cards    []store.Card // those that the evidence of findings counts
}

func (s *server) askSite(ctx context.Context, site usage.Site) (a siteAsk, err error) {
	a.site = site
	if a.findings, err = s.Store.Findings(ctx, site.Code); err != nil {
		return a, err
	}
	if a.rulings, err = s.Store.Rulings(ctx, site.Code); err != nil {
		return a, err
	}
	a.cards, err = s.Store.Cards(ctx, site.Code)
	return a, err
}

// networkQuestions shows the questions of all sites.
func (s *server) networkQuestions(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	asks := make([]siteAsk, len(sites))
	for i, site := range sites {
		if asks[i], err = s.askSite(r.Context(), site.Site); err != nil {
			return err
		}
	}
	page := web.QuestionsPage{Base: web.Base{Here: web.PlaceQuestions}, Sites: len(sites)}
	return s.sendQuestions(w, r, page, asks, backNetwork)
}

// siteQuestions shows the questions of one site.
func (s *server) siteQuestions(w http.ResponseWriter, r *http.Request) error {
	site := siteOf(r).Site
	ask, err := s.askSite(r.Context(), site)
	if err != nil {
		return err
	}
	page := web.QuestionsPage{Base: web.Base{Trail: web.TrailToSite(s.words(r.Context()), heading(site))}, Site: heading(site), Sites: 1}
	return s.sendQuestions(w, r, page, []siteAsk{ask}, backSite)
}

func (s *server) sendQuestions(w http.ResponseWriter, r *http.Request, page web.QuestionsPage, asks []siteAsk, back string) error {
	from, err := placeOf(r.URL.Query().Get("from"))
	if err != nil {
		return err
	}
	if err := s.addOpen(r.Context(), &page, asks, back, from); err != nil {
		return err
	}
	addAnswered(s.words(r.Context()), &page, asks, back)
	address := r.URL.Path + "?from="
	if from > 0 {
		page.Earlier = address + strconv.Itoa(max(0, from-questionsShown))
	}
	if page.Open > from+questionsShown {
		page.Later = address + strconv.Itoa(from+questionsShown)
	}
	return s.send(w, r, http.StatusOK, page)
}

// placeOf reads at which question a page begins.
func placeOf(from string) (int, error) {
	if from == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(from)
	if err != nil || n < 0 {
		return 0, invalid(fmt.Sprintf("from=%q is no place in the list", from), "Take it from the links below the list.")
	}
	return n, nil
}

// addOpen adds the open questions from a place on, by site, and counts them all.
func (s *server) addOpen(ctx context.Context, page *web.QuestionsPage, asks []siteAsk, back string, from int) error {
	read := &cardReader{server: s}
	for _, ask := range asks {
		group := web.QuestionGroup{Site: heading(ask.site)}
		for _, f := range ask.findings {
			if f.Ruling != nil {
				continue
			}
			if page.Open >= from && page.Open < from+questionsShown {
				q, err := s.question(ctx, read, ask, f, back)
				if err != nil {
					return err
				}
				group.Questions = append(group.Questions, q)
			}
			page.Open++
		}
		if len(group.Questions) > 0 {
			page.Groups = append(page.Groups, group)
		}
	}
	chain(page.Groups)
	return nil
}

// chain tells each question the place of the next.
func chain(groups []web.QuestionGroup) {
	var last *web.Question
	for i := range groups {
		for j := range groups[i].Questions {
			q := &groups[i].Questions[j]
			if last != nil {
				last.Next = q.ID
			}
			last = q
		}
	}
}

// question is an open question with its evidence.
func (s *server) question(ctx context.Context, read *cardReader, ask siteAsk, f usage.Finding, back string) (web.Question, error) {
	say := s.words(ctx)
	q := web.Question{
		ID: questionID(ask.site.Code, f.Key), Back: back, Key: f.Key, Kind: capital(say.Retell(f.Kind)), Says: capital(say.Retell(f.Says)), Changes: capital(say.Retell(f.Changes)),
		From: f.From, To: f.To, Choices: web.ChoicesOf(say, f.Choices),
	}
	var err error
	if q.Panel, err = s.stretchPanel(ctx, ask.site, q.ID, f); err != nil {
		return q, err
	}
	q.Excerpts, q.MoreRows, err = read.excerpts(ctx, say, ask, f.Evidence)
	return q, err
}

// questionID is the place of a question on its page, the same every time.
func questionID(code, key string) string {
	sum := sha256.Sum256([]byte(code + "\x00" + key))
	return "q-" + hex.EncodeToString(sum[:6])
}

// longestStretch is the longest stretch that is drawn, in days.
const longestStretch = 3653

// stretchPanel draws the days around a finding's stretch of time; nil where it
// has none.
func (s *server) stretchPanel(ctx context.Context, site usage.Site, id string, f usage.Finding) (*web.Panel, error) {
	say := s.words(ctx)
	if s.Charts == nil || f.From <= 0 || f.To <= f.From || (f.To-f.From)/86400 > longestStretch {
		return nil, nil
	}
	zone, err := usage.LoadZone(site.Zone)
	if err != nil {
		return nil, err
	}
	from, to := wholeDays(zone, f.From, f.To)
	first, last := chart.StretchWindow(say, from, to)
	days, err := s.Store.Days(ctx, site.Code, first, last)
	if err != nil {
		return nil, err
	}
	figure, err := s.Charts.In(say).Linked(visitLink(site.Code, nil)).Stretch(ctx, "stretch-"+id, days, from, to)
	panel := &web.Panel{Figure: figure}
	if err != nil {
		s.Log.Warn("draw chart", "chart", "stretch", "site", site.Code, "err", err)
		panel.Title, panel.Problem = say.Say(web.TitleStretch), say.Say(web.ChartMissing)
	}
	return panel, nil
}

// wholeDays returns the civil dates that lie in the stretch [from, to) with all
// their hours; without any, those that it touches.
func wholeDays(zone *usage.Zone, from, to int64) (first, last usage.Date) {
	touched, _ := zone.Civil(from)
	end, _ := zone.Civil(to - 1)
	first, last = touched, end
	if zone.StartOfDay(first) < from {
		first++
	}
	if zone.StartOfDay(last+1) > to {
		last--
	}
	if last < first {
		return touched, end
	}
	return first, last
}

// addAnswered lists the answers that stand, the latest first, those included
// whose question does not arise any more.
func addAnswered(say *words.Words, page *web.QuestionsPage, asks []siteAsk, back string) {
	for _, ask := range asks {
		says := map[string]string{}
		for _, f := range ask.findings {
			says[f.Key] = capital(say.Retell(f.Says))
		}
		for _, ruling := range ask.rulings {
			page.Answered = append(page.Answered, web.Answered{
				Site: heading(ask.site), ID: questionID(ask.site.Code, ruling.Key), Back: back, Key: ruling.Key,
				Says: says[ruling.Key], Label: web.AnswerWords(say, ruling.Answer), By: ruling.By, At: ruling.At, Why: ruling.Why,
			})
		}
	}
	slices.SortStableFunc(page.Answered, func(a, b web.Answered) int { return cmp.Compare(b.At, a.At) })
	if more := len(page.Answered) - answersShown; more > 0 {
		page.Answered, page.MoreAnswered = page.Answered[:answersShown], more
	}
}

// answerQuestion takes the answer to a question and goes on to the next.
func (s *server) answerQuestion(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(w, r); err != nil {
		return err
	}
	moreTime(w, slowWork)
	form, code := r.PostForm, siteOf(r).Code
	err := s.Store.Rule(r.Context(), code, usage.Ruling{
		Key: form.Get("key"), Answer: usage.Answer(form.Get("answer")), By: signer(r, form), Why: form.Get("why"),
	})
	if err != nil {
		return err
	}
	return seeOther(w, r, questionsAddress(code, form.Get("back"), form.Get("next")))
}

// undoAnswer takes an answer back.
func (s *server) undoAnswer(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(w, r); err != nil {
		return err
	}
	moreTime(w, slowWork)
	form, code := r.PostForm, siteOf(r).Code
	if err := s.Store.Unrule(r.Context(), code, form.Get("key"), signer(r, form)); err != nil {
		return err
	}
	return seeOther(w, r, questionsAddress(code, form.Get("back"), form.Get("place")))
}

var questionPlace = regexp.MustCompile(`^q-[0-9a-f]{12}$`)

// questionsAddress is the page of questions that a form came from, at a place.
func questionsAddress(code, back, place string) string {
	address := "/sites/" + code + "/questions"
	if back == backNetwork {
		address = "/questions"
	}
	if questionPlace.MatchString(place) {
		address += "#" + place
	}
	return address
}

// cardReader reads cards for a page, each once.
type cardReader struct {
	*server
	read map[string]*readKept
}

// readKept is a kept card with its bytes as read.
type readKept struct {
	bytes []byte
	file  *cardfile.File
}

func (c *cardReader) card(ctx context.Context, site usage.Site, card store.Card) (*readKept, error) {
	if kept := c.read[card.ID]; kept != nil {
		return kept, nil
	}
	data, err := c.Store.CardBytes(ctx, card.ID)
	if err != nil {
		return nil, err
	}
	file, err := cardfile.Read(data, cardfile.Hint{DateOrder: orderOf(&keptCard{card, site})})
	if err != nil {
		return nil, fmt.Errorf("read kept card %s: %w", card.ID, err)
	}
	if c.read == nil {
		c.read = map[string]*readKept{}
	}
	c.read[card.ID] = &readKept{data, file}
	return c.read[card.ID], nil
}

// passage is some lines of a card of which some are meant.
type passage struct {
	card     store.Card
	from, to int
	meant    []int
}

// excerpts shows the rows of evidence with the lines around them, and says how
// many rows it leaves out.
func (c *cardReader) excerpts(ctx context.Context, say *words.Words, ask siteAsk, evidence []usage.RowRef) (shown []web.Excerpt, more int, err error) {
	passages, more := passagesOf(evidence, ask.cards)
	for _, p := range passages {
		kept, err := c.card(ctx, ask.site, p.card)
		if usage.KindOf(err) == usage.NotFound {
			more += len(p.meant) // withdrawn just now
			continue
		}
		if err != nil {
			return nil, 0, err
		}
		shown = append(shown, kept.excerpt(say, p))
	}
	return shown, more, nil
}

// passagesOf joins rows of evidence that stand close together, in the order of
// the evidence, and counts those that find no room.
func passagesOf(evidence []usage.RowRef, cards []store.Card) (out []passage, more int) {
	for _, e := range evidence {
		if e.Card < 0 || int(e.Card) >= len(cards) {
			more++
			continue
		}
		line, card := int(e.Line), cards[e.Card]
		p := passage{card: card, from: max(1, line-linesAround), to: line + linesAround, meant: []int{line}}
		i := slices.IndexFunc(out, func(o passage) bool { return o.card.ID == card.ID && p.from <= o.to+1 && o.from <= p.to+1 })
		switch {
		case i < 0 && len(out) < excerptsShown:
			out = append(out, p)
		case i >= 0 && max(out[i].to, p.to)-min(out[i].from, p.from) < excerptLines:
			o := &out[i]
			o.from, o.to, o.meant = min(o.from, p.from), max(o.to, p.to), append(o.meant, line)
		case i >= 0 && line >= out[i].from && line <= out[i].to:
			out[i].meant = append(out[i].meant, line)
		default:
			more++
		}
	}
	return out, more
}

func (k *readKept) excerpt(say *words.Words, p passage) web.Excerpt {
	e := web.Excerpt{Name: p.card.Name, First: p.card.First, Last: p.card.Last, Href: lineAddress(p.card.ID, int32(p.meant[0]))}
	for _, line := range cardLines(say, k.bytes, k.file, p.from, min(p.to, k.file.Lines)) {
		e.Lines = append(e.Lines, web.ExcerptLine{
			CardLine: line, Href: lineAddress(p.card.ID, int32(line.Line)), Meant: slices.Contains(p.meant, line.Line),
		})
	}
	return e
}

// openFindings returns the findings that nobody has ruled on.
func openFindings(all []usage.Finding) (open []usage.Finding) {
	for _, f := range all {
		if f.Ruling == nil {
			open = append(open, f)
		}
	}
	return open
}

// navOf is what the navigation says. A count that cannot be had is left out: the
// page itself says what is wrong.
func (s *server) navOf(r *http.Request, p web.Page) web.Nav {
	say := s.words(r.Context())
	if _, fault := p.(web.FaultPage); fault {
		return web.Nav{Network: s.networkName(r), Words: say}
	}
	open, err := s.Store.OpenFindings(r.Context())
	if err != nil {
		s.Log.Warn("count open questions", "err", strings.TrimSpace(err.Error()))
	}
	return web.Nav{Questions: open, Network: s.networkName(r), Words: say}
}
