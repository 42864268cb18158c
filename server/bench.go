package server

import (
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeBench(r chi.Router) {
	r.Get("/bench", s.do(s.benchForm))
	r.Post("/bench", s.do(s.bench))
}

// benchBytes is the largest card of a bench check: a few openings take some hundred
// bytes.
const benchBytes = 4 << 20

func (s *server) benchForm(w http.ResponseWriter, r *http.Request) error {
	return s.sendBench(w, r, http.StatusOK, web.BenchPage{Form: web.BenchForm{Site: strings.TrimSpace(r.URL.Query().Get("site"))}})
}

func (s *server) sendBench(w http.ResponseWriter, r *http.Request, status int, page web.BenchPage) error {
	say := s.words(r.Context())
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	for _, site := range sites {
		page.Form.Sites = append(page.Form.Sites, web.Option{Value: site.Code, Says: site.Name, Chosen: site.Code == page.Form.Site})
	}
	page.Trail, page.Cautions = web.TrailToNetwork(say), web.BenchCautions(say)
	if page.Lead == "" {
		page.Lead = say.Say(web.BenchAsk)
	}
	return s.send(w, r, status, page)
}

// bench judges an upload. Nothing is kept.
func (s *server) bench(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	r.Body = http.MaxBytesReader(w, r.Body, benchBytes+formBytes)
	if err := r.ParseMultipartForm(benchBytes + formBytes); err != nil {
		return &usage.Fault{Kind: kindOfBody(err), What: "the upload could not be read", Try: "Choose one file of at most 4 MB: a bench check is for a few openings.", Err: err}
	}
	defer r.MultipartForm.RemoveAll()
	get := func(name string) string { return strings.TrimSpace(r.FormValue(name)) }
	page := web.BenchPage{Form: web.BenchForm{Site: get("site"), At: get("at")}}
	in := importer.BenchIn{At: s.Now().Unix()}
	fault := func(field, says string) {
		page.Faults = append(page.Faults, web.FieldFault{Field: field, Says: says})
	}
	if page.Form.Site != "" {
		site, err := s.Store.Site(r.Context(), page.Form.Site)
		if err != nil {
			return err
		}
		in.Site, in.Hint = &site.Site, cardfile.Hint{DateOrder: site.Profile.DateOrder}
	}
	if page.Form.At != "" {
		at, says := benchTime(say, page.Form.At, in.Site)
		if says != "" {
			fault("at", says)
		}
		in.At, in.Exact = at, true
	}
	var says string
	if page.Name, in.Bytes, says = benchFile(say, r); says != "" {
		fault("card", says)
	}
	if len(page.Faults) > 0 {
		return s.sendBench(w, r, http.StatusBadRequest, page)
	}
	result, err := importer.BenchCheck(in)
	if usage.KindOf(err) == usage.Invalid {
		fault("card", web.Problem(say, err)+" "+web.Try(say, err))
		return s.sendBench(w, r, http.StatusBadRequest, page)
	}
	if err != nil {
		return err
	}
	addBench(say, &page, result)
	return s.sendBench(w, r, http.StatusOK, page)
}

// benchFile reads the one file of the form.
func benchFile(say *words.Words, r *http.Request) (name string, data []byte, says string) {
	file, head, err := r.FormFile("card")
	if err != nil {
		return "", nil, say.Say(web.BenchNoFile)
	}
	defer file.Close()
	data, err = io.ReadAll(file)
	if err != nil {
		return head.Filename, nil, say.Say(web.BenchNoFile)
	}
	return head.Filename, data, ""
}

// benchTime reads the true time of the last opening: civil time at the site, or UTC
// where it is to hang nowhere yet.
func benchTime(say *words.Words, typed string, site *usage.Site) (int64, string) {
	if site != nil {
		return localInstant(say, typed, site.Zone)
	}
	for _, layout := range []string{localMinute, localSecond} {
		if t, err := time.Parse(layout, typed); err == nil {
			return t.Unix(), ""
		}
	}
	return 0, say.Say(web.TimeUnread)
}

// addBench puts the result of a bench check on its page.
func addBench(say *words.Words, page *web.BenchPage, b importer.Bench) {
	wrong := b.Count(importer.Wrong)
	page.Done, page.Ready = true, b.Ready
	page.Lead = web.BenchLead(say, wrong, b.Count(importer.Unclear), b.Ready)
	for _, group := range []struct {
		verdict importer.Verdict
		title   string
	}{{importer.Wrong, say.Say(web.BenchWrong)}, {importer.Unclear, say.Say(web.BenchUnclear)}, {importer.Right, say.Say(web.BenchRight)}} {
		rows := web.BenchGroup{Title: group.title, Brick: group.verdict == importer.Wrong}
		for _, c := range b.Checks {
			if c.Verdict == group.verdict {
				rows.Checks = append(rows.Checks, web.BenchCheck{Topic: capital(say.Retell(c.Topic)), Says: capital(say.Retell(c.Says)) + ".", Try: capital(say.Retell(c.Try)), Lines: web.LinesWords(say, c.Lines)})
			}
		}
		if len(rows.Checks) > 0 {
			page.Groups = append(page.Groups, rows)
		}
	}
}
