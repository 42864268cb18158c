package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// description is the description of the JSON as the server gives it, with the
// schemas ready to hold answers against.
type description struct {
	paths   map[string]pathOf
	schemas *jsonschema.Compiler
}

// pathOf is what a path of the description says of GET.
type pathOf struct {
	Get struct {
		Parameters []struct{ Name, In string }
		Responses  map[string]struct {
			Content map[string]json.RawMessage
		}
	}
}

const descriptionURL = "https://boxes.example/api/openapi.json" // a name only: nothing is fetched

func readDescription(t *testing.T, g *gallery) description {
	t.Helper()
	text := body(t, g.url+"/api/openapi.json")
	var doc struct{ Paths map[string]pathOf }
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	whole, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	closeObjects(whole)
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020) // OpenAPI 3.1.0, 4.8.24.2: the dialect of its schemas
	c.AssertFormat()
	if err := c.AddResource(descriptionURL, whole); err != nil {
		t.Fatal(err)
	}
	return description{doc.Paths, c}
}

// closeObjects lets no object have a field that its schema does not name, so that an
// answer with an undescribed field is found out.
func closeObjects(v any) {
	switch v := v.(type) {
	case []any:
		for _, e := range v {
			closeObjects(e)
		}
	case map[string]any:
		if _, named := v["properties"].(map[string]any); named && v["type"] != nil && v["additionalProperties"] == nil {
			v["additionalProperties"] = false
		}
		for _, e := range v {
			closeObjects(e)
		}
	}
}

// schema returns that of an answer; status is "200" or "default".
func (d description) schema(t *testing.T, path, status, kind string) *jsonschema.Schema {
	t.Helper()
	if d.paths[path].Get.Responses[status].Content[kind] == nil {
		t.Fatalf("the description of %s has no %s answer as %s", path, status, kind)
	}
	escaped := strings.NewReplacer("~", "~0", "/", "~1")
	pointer := "/paths/" + escaped.Replace(path) + "/get/responses/" + status + "/content/" + escaped.Replace(kind) + "/schema"
	s, err := d.schemas.Compile(descriptionURL + "#" + (&url.URL{Path: pointer}).EscapedPath())
	if err != nil {
		t.Fatalf("schema of %s: %v", path, err)
	}
	return s
}

// holdAnswer holds an answer against its schema.
func holdAnswer(t *testing.T, address string, schema *jsonschema.Schema, text []byte) {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Errorf("GET %s is no JSON: %v\n%.300s", address, err, text)
		return
	}
	if err := schema.Validate(v); err != nil {
		t.Errorf("GET %s does not answer as described: %.2000s", address, err)
	}
}

// jsonRoutes are the routes that answer with JSON.
func jsonRoutes(t *testing.T, g *gallery) []string {
	t.Helper()
	var found []string
	for _, route := range routesOf(t, g.routes) {
		if strings.HasPrefix(route, "/api/") && route != "/api/openapi.json" || route == "/healthz" {
			found = append(found, route)
		}
	}
	return found
}

// apiQueries are those with which each parameter of a query is asked for once, and
// one that cannot be taken.
func apiQueries(params []struct{ Name, In string }) (good, bad []string) {
	examples := map[string]string{
		"season": "2026-spring", "from": "2026-08-01", "to": "2026-08-31", "weekday": "1", "hour": "9", "light": "daylight",
		"limit": "3", "ma": "20", "after": "", "need": "3", "weeks": "8", "always": "yes",
	}
	for _, p := range params {
		if v := examples[p.Name]; p.In == "query" && v != "" {
			good = append(good, "?"+p.Name+"="+v)
		}
		if p.In == "query" && slices.Contains([]string{"from", "limit", "hour", "ma"}, p.Name) {
			bad = append(bad, "?"+p.Name+"=x")
		}
	}
	return good, bad
}

// testDocument holds /api/openapi.json against the router and all answers: each
// route is described and each description is a route; answers and errors are
// as the schemas say.
func testDocument(t *testing.T, g *gallery) {
	d := readDescription(t, g)
	routes := jsonRoutes(t, g)
	for path := range d.paths {
		if !slices.Contains(routes, path) {
			t.Errorf("the description has %s, which is no route", path)
		}
	}
	answers := 0
	for _, route := range routes {
		path, described := d.paths[route]
		if !described {
			t.Errorf("the route %s is not in the description", route)
			continue
		}
		good, bad := apiQueries(path.Get.Parameters)
		if len(g.sites) == 0 { // there is no season without a site
			good = slices.DeleteFunc(good, func(q string) bool { return strings.HasPrefix(q, "?season=") })
		}
		for _, filled := range g.fill(t, route, route) {
			for _, q := range append([]string{""}, good...) {
				res, text := ask(t, g.url+filled+q, "")
				if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "application/json" {
					t.Errorf("GET %s%s = %s %s\n%.300s", filled, q, res.Status, res.Header.Get("Content-Type"), text)
					continue
				}
				answers++
				holdAnswer(t, filled+q, d.schema(t, route, "200", "application/json"), text)
			}
			for _, q := range bad {
				g.holdProblem(t, d, route, filled+q)
			}
		}
		if strings.Contains(route, "{code}") {
			g.holdProblem(t, d, route, strings.Replace(route, "{code}", "NOWHERE", 1))
		}
		if strings.Contains(route, "{season}") {
			g.holdProblem(t, d, route, strings.Replace(route, "{season}", "2026-monsoon", 1))
		}
	}
	g.holdProblem(t, d, "/api/sites", "/api/no-such-address")
	t.Logf("%d answers are as described", answers)
}

// holdProblem asks for what cannot be answered and wants problem details.
func (g *gallery) holdProblem(t *testing.T, d description, route, path string) {
	t.Helper()
	const kind = "application/problem+json"
	res, text := ask(t, g.url+path, "")
	if res.StatusCode < 400 || res.StatusCode >= 500 || res.Header.Get("Content-Type") != kind {
		t.Errorf("GET %s = %s %s, want a fault of the asker as problem details\n%.300s", path, res.Status, res.Header.Get("Content-Type"), text)
		return
	}
	holdAnswer(t, path, d.schema(t, route, "default", kind), text)
}

// ask asks for an address, with a tag from before where there is one.
func ask(t *testing.T, url, tag string) (*http.Response, []byte) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	if tag != "" {
		req.Header.Set("If-None-Match", tag)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res, text
}

// testConditional asks for every address twice: the second time with the tag of
// the first answer, which brings 304 and nothing.
func testConditional(t *testing.T, g *gallery) {
	tagged := 0
	for _, a := range g.addresses(t) {
		res, _ := ask(t, g.url+a.path, "")
		if res.StatusCode != http.StatusOK {
			continue
		}
		tag := res.Header.Get("ETag")
		if tag == "" {
			if untagged[a.route] == "" {
				t.Errorf("GET %s has no ETag", a.path)
			}
			continue
		}
		tagged++
		if got := res.Header.Get("Cache-Control"); got != "private, no-cache" && got != "no-store" {
			t.Errorf("GET %s: Cache-Control = %q, want private, no-cache or no-store", a.path, got)
		}
		again, text := ask(t, g.url+a.path, tag)
		if again.StatusCode != http.StatusNotModified || len(text) > 0 || again.Header.Get("ETag") != tag {
			t.Errorf("GET %s again with %s = %s, %d bytes, ETag %s; want 304 and nothing", a.path, tag, again.Status, len(text), again.Header.Get("ETag"))
		}
		if !strings.HasPrefix(a.route, "/api/") {
			continue
		}
		if other, _ := ask(t, g.url+a.path, `W/"another"`); other.StatusCode != http.StatusOK {
			t.Errorf("GET %s with a tag that is not its own = %s, want 200", a.path, other.Status)
		}
	}
	t.Logf("%d addresses answer 304", tagged)
}

// untagged are the routes whose answers have no tag, with the reason.
var untagged = map[string]string{
	"/healthz":       "it must not be kept",
	"/data-out/file": "it is sent as it is read",
}
