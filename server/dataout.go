package server

import (
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeDataOut(r chi.Router) {
	r.Get("/data-out", s.do(s.dataOut))
	r.Get("/data-out/file", s.do(s.dataOutFile))
}

// fewVisits is below how many visits figures are held back unless it is said
// otherwise. Common practice, no source.
const fewVisits = 5

// mostLeast is the largest number below which figures can be held back.
const mostLeast = 1_000_000

func (s *server) dataOut(w http.ResponseWriter, r *http.Request) error {
	return s.sendDataOut(w, r, http.StatusOK, web.DataOutPage{Form: web.DataOutForm{Format: "datapackage", Least: strconv.Itoa(fewVisits)}}, "")
}

func (s *server) sendDataOut(w http.ResponseWriter, r *http.Request, status int, page web.DataOutPage, season string) error {
	all, err := s.allSeasons(r.Context())
	if err != nil {
		return err
	}
	page.Sites = len(all)
	for _, name := range seasonNames(all) {
		page.Seasons = append(page.Seasons, web.Option{Value: name, Says: seasonTitle(s.words(r.Context()), name, all), Chosen: name == season})
	}
	return s.send(w, r, status, page)
}

// seasonTitle is a season's name in words, as at the first site that has it.
func seasonTitle(say *words.Words, name string, all []siteSeasons) string {
	for _, site := range all {
		if season, err := usage.ParseSeason(name, site.hemisphere()); err == nil {
			return say.Season(season)
		}
	}
	return name
}

// dataOutFile sends what the form asks for. It is written to a temporary file first,
// so that nothing is sent by halves, and one at a time.
func (s *server) dataOutFile(w http.ResponseWriter, r *http.Request) error {
	export, form, faults := readDataOut(s.words(r.Context()), r.URL.Query())
	if len(faults) > 0 {
		return s.sendDataOut(w, r, http.StatusBadRequest, web.DataOutPage{Form: form, Faults: faults}, export.Season)
	}
	select {
	case s.reports <- struct{}{}:
		defer func() { <-s.reports }()
	case <-r.Context().Done():
		return r.Context().Err()
	}
	moreTime(w, slowWork)
	f, err := os.CreateTemp("", "doorleaf-export-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	if err := export.Write(r.Context(), s.Store, s.Now, f); err != nil {
		return err
	}
	return sendFile(w, f, export)
}

func sendFile(w http.ResponseWriter, f *os.File, export Export) error {
	length, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/zip")
	if export.Format == "geojson" {
		h.Set("Content-Type", "application/geo+json") // RFC 7946, section 12
	}
	h.Set("Content-Length", strconv.FormatInt(length, 10))
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": export.fileName()}))
	h.Set("Cache-Control", "no-store")
	_, _ = io.Copy(w, f) // the browser is gone: there is nobody to tell
	return nil
}

// fileName is what the file of an export is called: doorleaf-tables-coarse.zip.
func (e Export) fileName() string {
	name, ending := "doorleaf-tables", ".zip"
	switch e.Format {
	case "geojson":
		name, ending = "doorleaf-"+e.Season, ".geojson"
	case "parquet":
		name = e.Name + "-parquet"
	}
	if e.Coarse > 0 {
		name += "-coarse"
	}
	return name + ending
}

// readDataOut reads the form. What only another choice needs is passed over.
func readDataOut(say *words.Words, q url.Values) (Export, web.DataOutForm, web.FieldFaults) {
	form := web.DataOutForm{Format: q.Get("format"), Fine: q.Get("fine") != "", Least: strings.TrimSpace(q.Get("least")), Name: strings.TrimSpace(q.Get("name"))}
	export := Export{Format: form.Format}
	var faults web.FieldFaults
	switch form.Format {
	case "datapackage":
	case "geojson":
		if export.Season = q.Get("season"); export.Season == "" {
			faults = append(faults, web.FieldFault{Field: "season", Says: "Choose the season of the map."})
		}
	case "parquet":
		if export.Name = form.Name; !networkName.MatchString(export.Name) {
			faults = append(faults, web.FieldFault{Field: "name", Says: "Give the network a name of small letters, digits and hyphens, 40 at most."})
		}
	default:
		faults = append(faults, web.FieldFault{Field: "format", Says: "Choose what to download."})
	}
	if !form.Fine {
		var err error
		if export.Coarse, err = strconv.Atoi(form.Least); err != nil || export.Coarse < 1 || export.Coarse > mostLeast {
			faults = append(faults, web.FieldFault{Field: "least", Says: fmt.Sprintf("Give a whole number from 1 to %s.", say.Number(mostLeast))})
		}
	}
	return export, form, faults
}
