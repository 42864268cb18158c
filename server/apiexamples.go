package server

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/web"
)

func (s *server) routeAPIExamples(r chi.Router) {
	r.Get("/api", s.do(s.apiExamples))
}

// described is what the page of examples reads of openAPI.
type described struct {
	Paths map[string]struct {
		Get struct {
			Summary    string `json:"summary"`
			Parameters []struct {
				Name        string `json:"name"`
				In          string `json:"in"`
				Description string `json:"description"`
			} `json:"parameters"`
		} `json:"get"`
	} `json:"paths"`
}

// apiExamples shows what programs can ask, made of the description itself, with
// values of the site that has most visits.
func (s *server) apiExamples(w http.ResponseWriter, r *http.Request) error {
	var doc described
	if err := json.Unmarshal(openAPI, &doc); err != nil {
		return fmt.Errorf("read the description of the JSON: %w", err)
	}
	values, err := s.exampleValues(r.Context())
	if err != nil {
		return err
	}
	page := web.APIPage{Origin: s.origin(r), Example: values["code"]}
	for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
		get := doc.Paths[path].Get
		end := web.Endpoint{Path: path, Says: get.Summary}
		var query []string
		for _, p := range get.Parameters {
			if p.In == "query" {
				end.Parameters = append(end.Parameters, web.Parameter{Name: p.Name, Says: p.Description})
				query = append(query, p.Name)
			}
		}
		end.Href = exampleAddress(path, query, values)
		page.Endpoints = append(page.Endpoints, end)
	}
	return s.send(w, r, http.StatusOK, page)
}

// origin is the scheme and host by which the request came.
func (s *server) origin(r *http.Request) string {
	if s.overTLS(r) {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// exampleValues are values for the parameters: the site with most visits, its
// latest season and its last week. Without a site there is no code, and without
// a card neither season nor week.
func (s *server) exampleValues(ctx context.Context) (map[string]string, error) {
	values := map[string]string{"limit": "10"}
	sites, err := s.Store.Sites(ctx)
	if err != nil || len(sites) == 0 {
		return values, err
	}
	most := slices.MaxFunc(sites, func(a, b store.SiteSummary) int { return int(a.Totals.Visits - b.Totals.Visits) })
	values["code"] = most.Code
	data, err := s.Store.SeasonData(ctx, most.Code)
	if err != nil {
		return nil, err
	}
	t, err := s.tally(ctx, most.Code)
	if err != nil {
		return nil, err
	}
	if n := len(t.seasons); n > 0 {
		values["season"] = t.seasons[n-1].String()
	}
	if days := data.Days; len(days) > 0 {
		last := days[len(days)-1].Date
		values["from"], values["to"] = (last - 6).String(), last.String()
	}
	return values, nil
}

// exampleAddress puts values into a path and a query. It is "" where the path needs
// a value that there is none of. Of season and dates one is enough.
func exampleAddress(path string, query []string, values map[string]string) string {
	for _, name := range []string{"code", "season"} {
		if strings.Contains(path, "{"+name+"}") && values[name] == "" {
			return ""
		}
		path = strings.ReplaceAll(path, "{"+name+"}", url.PathEscape(values[name]))
	}
	q := url.Values{}
	for _, name := range query {
		dated := name == "from" || name == "to"
		if v := values[name]; v != "" && !(dated && slices.Contains(query, "season")) {
			q.Set(name, v)
		}
	}
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}
