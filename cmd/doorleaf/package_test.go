package main

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"doorleaf/server"
)

// checker holds a package against the rules of the Data Package standard, version 2
// (datapackage.org/standard: data-package, data-resource, table-schema; the rules are
// from memory). It knows nothing of what wrote the package.
type checker struct {
	files  map[string][]byte
	wrong  []string
	keys   map[string]map[string]bool // of each resource, its primary keys
	tables map[string][]row
}

type row map[string]*string // null where the text is a missing value

func (c *checker) say(format string, args ...any) {
	c.wrong = append(c.wrong, fmt.Sprintf(format, args...))
}

// checkPackage returns what is wrong with a package.
func checkPackage(files map[string][]byte) []string {
	c := &checker{files: files, keys: map[string]map[string]bool{}, tables: map[string][]row{}}
	var d map[string]any
	if err := json.Unmarshal(files["datapackage.json"], &d); err != nil {
		return []string{"datapackage.json: " + err.Error()}
	}
	if d["$schema"] != "https://datapackage.org/profiles/2.0/datapackage.json" {
		c.say("$schema = %v", d["$schema"])
	}
	if name, _ := d["name"].(string); !resourceName.MatchString(name) {
		c.say("name = %v", d["name"])
	}
	resources, _ := d["resources"].([]any)
	if len(resources) == 0 {
		c.say("no resources")
	}
	for _, r := range resources {
		c.resource(r)
	}
	for _, r := range resources {
		c.foreign(r)
	}
	return c.wrong
}

var (
	resourceName = regexp.MustCompile(`^[-a-z0-9._/]+$`)
	fieldTypes   = map[string]*regexp.Regexp{
		"string":   regexp.MustCompile(`(?s)^.*$`),
		"integer":  regexp.MustCompile(`^[+-]?\d+$`),
		"number":   regexp.MustCompile(`^([+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?|NaN|-?INF)$`),
		"boolean":  regexp.MustCompile(`^(true|True|TRUE|1|false|False|FALSE|0)$`),
		"date":     regexp.MustCompile(`^\d{4}-\d\d-\d\d$`),
		"datetime": regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)?$`),
	}
	fieldWords = []string{"name", "type", "description", "constraints", "unit"} // unit is our own, which the standard allows
)

func (c *checker) resource(of any) {
	r, _ := of.(map[string]any)
	name, _ := r["name"].(string)
	if !resourceName.MatchString(name) || c.keys[name] != nil {
		c.say("resource name %q", name)
	}
	c.keys[name] = map[string]bool{}
	if r["type"] != "table" || r["description"] == "" {
		c.say("%s: type %v, description %v", name, r["type"], r["description"])
	}
	for _, p := range paths(r["path"]) {
		if p == "" || strings.HasPrefix(p, "/") || strings.Contains(p, "..") || strings.Contains(p, `\`) {
			c.say("%s: path %q", name, p)
		}
		if _, ok := c.files[p]; !ok {
			c.say("%s: no file %q", name, p)
		}
	}
	if len(paths(r["path"])) == 0 {
		c.say("%s: no path", name)
	}
	schema, _ := r["schema"].(map[string]any)
	fields, _ := schema["fields"].([]any)
	c.fields(name, fields)
	if r["format"] == "csv" {
		c.read(name, r, schema, fields)
	}
}

func paths(of any) []string {
	if one, ok := of.(string); ok {
		return []string{one}
	}
	return texts(of)
}

func texts(of any) []string {
	var out []string
	list, _ := of.([]any)
	for _, v := range list {
		out = append(out, fmt.Sprint(v))
	}
	return out
}

func (c *checker) fields(resource string, fields []any) {
	seen := map[string]bool{}
	for _, f := range fields {
		field, _ := f.(map[string]any)
		name, _ := field["name"].(string)
		if name == "" || seen[name] {
			c.say("%s: field name %q", resource, name)
		}
		seen[name] = true
		if kind, _ := field["type"].(string); fieldTypes[kind] == nil {
			c.say("%s.%s: type %v", resource, name, field["type"])
		}
		if says, _ := field["description"].(string); says == "" {
			c.say("%s.%s: no description", resource, name)
		}
		for word := range field {
			if !slices.Contains(fieldWords, word) {
				c.say("%s.%s: property %q", resource, name, word)
			}
		}
	}
	if len(fields) == 0 {
		c.say("%s: no fields", resource)
	}
}

// read reads a table and holds every cell against its field.
func (c *checker) read(name string, r, schema map[string]any, fields []any) {
	if r["mediatype"] != "text/csv" || r["encoding"] != "utf-8" {
		c.say("%s: mediatype %v, encoding %v", name, r["mediatype"], r["encoding"])
	}
	file := c.files[paths(r["path"])[0]]
	rows, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
	if err != nil || len(rows) == 0 {
		c.say("%s: %d rows, %v", name, len(rows), err)
		return
	}
	if lines, ends := bytes.Count(file, []byte("\n")), bytes.Count(file, []byte("\r\n")); lines != ends {
		c.say("%s: %d of %d lines end in CRLF (RFC 4180, 2.1)", name, ends, lines)
	}
	missing := texts(schema["missingValues"])
	if missing == nil {
		missing = []string{""}
	}
	for i, texts := range rows {
		if len(texts) != len(fields) {
			c.say("%s: %d columns in row %d, want %d", name, len(texts), i, len(fields))
			return
		}
		cells := row{}
		for j, f := range fields {
			field := f.(map[string]any)
			if i == 0 {
				if texts[j] != field["name"] {
					c.say("%s: column %d is %q, want %v", name, j, texts[j], field["name"])
				}
				continue
			}
			cells[field["name"].(string)] = c.cell(name, field, texts[j], slices.Contains(missing, texts[j]))
		}
		if i > 0 {
			c.key(name, schema, cells)
			c.tables[name] = append(c.tables[name], cells)
		}
	}
}

// cell returns the text of a cell, nil where it is missing.
func (c *checker) cell(resource string, field map[string]any, text string, missing bool) *string {
	constraints, _ := field["constraints"].(map[string]any)
	if missing {
		if constraints["required"] == true {
			c.say("%s.%v: nothing where something is required", resource, field["name"])
		}
		return nil
	}
	kind := field["type"].(string)
	good := fieldTypes[kind] != nil && fieldTypes[kind].MatchString(text)
	var err error
	switch kind {
	case "date":
		_, err = time.Parse(time.DateOnly, text)
	case "datetime":
		_, err = time.Parse(time.RFC3339, text)
	}
	if !good || err != nil {
		c.say("%s.%v: %q is no %s", resource, field["name"], text, kind)
	}
	return &text
}

// key enters the primary key of a row, which must be whole and the only one.
func (c *checker) key(resource string, schema map[string]any, cells row) {
	columns := paths(schema["primaryKey"])
	key, whole := joined(cells, columns)
	if len(columns) == 0 || !whole || c.keys[resource][key] {
		c.say("%s: primary key %v = %q, whole %v, met before %v", resource, columns, key, whole, c.keys[resource][key])
	}
	c.keys[resource][key] = true
}

func joined(cells row, columns []string) (string, bool) {
	var parts []string
	for _, column := range columns {
		if cells[column] == nil {
			return "", false
		}
		parts = append(parts, *cells[column])
	}
	return strings.Join(parts, "\x1f"), true
}

// foreign looks every foreign key up.
func (c *checker) foreign(of any) {
	r, _ := of.(map[string]any)
	name, _ := r["name"].(string)
	schema, _ := r["schema"].(map[string]any)
	keys, _ := schema["foreignKeys"].([]any)
	for _, k := range keys {
		key := k.(map[string]any)
		reference, _ := key["reference"].(map[string]any)
		there := fmt.Sprint(reference["resource"])
		if reference["resource"] == "" {
			there = name
		}
		here, others := texts(key["fields"]), texts(reference["fields"])
		if c.keys[there] == nil || len(here) == 0 || len(here) != len(others) {
			c.say("%s: foreign key %v", name, key)
			continue
		}
		known := map[string]bool{}
		for _, cells := range c.tables[there] {
			if value, whole := joined(cells, others); whole {
				known[value] = true
			}
		}
		for _, cells := range c.tables[name] {
			if value, whole := joined(cells, here); whole && !known[value] {
				c.say("%s: %v = %q is not in %s", name, here, value, there)
			}
		}
	}
}

// TestPackageStandard holds packages of all kinds against the standard.
func TestPackageStandard(t *testing.T) {
	c, s := exportedBox(t)
	for _, coarse := range []int{0, 3} {
		var b bytes.Buffer
		if err := (server.Export{Format: "datapackage", Coarse: coarse}).Write(c.ctx, s, c.now, &b); err != nil {
			t.Fatal(err)
		}
		files := unzipped(t, b.Bytes())
		for _, wrong := range checkPackage(files) {
			t.Errorf("coarse %d: %s", coarse, wrong)
		}
		var d map[string]any
		if err := json.Unmarshal(files["datapackage.json"], &d); err != nil {
			t.Fatal(err)
		}
		if d["licenses"] != nil {
			t.Errorf("licenses = %v, want it left to the coordinator", d["licenses"])
		}
		dir := t.TempDir()
		if err := (server.Export{Format: "parquet", Name: "larkbridge", Coarse: coarse}).WriteFolder(c.ctx, s, dir); err != nil {
			t.Fatal(err)
		}
		for _, wrong := range checkPackage(below(t, dir)) {
			t.Errorf("parquet, coarse %d: %s", coarse, wrong)
		}
	}
}

// TestPackageStandardFails breaks a sound package in many ways.
func TestPackageStandardFails(t *testing.T) {
	c, s := exportedBox(t)
	var b bytes.Buffer
	if err := (server.Export{Format: "datapackage"}).Write(c.ctx, s, c.now, &b); err != nil {
		t.Fatal(err)
	}
	sound := unzipped(t, b.Bytes())
	for _, tt := range []struct{ file, old, new, want string }{
		{"datapackage.json", `"name": "sites"`, `"name": "Sites!"`, "resource name"},
		{"datapackage.json", `"type": "integer"`, `"type": "int"`, "type int"},
		{"datapackage.json", `"path": "days.csv"`, `"path": "/days.csv"`, "path"},
		{"datapackage.json", `"resource": "sites"`, `"resource": "boxes"`, "foreign key"},
		{"datapackage.json", `"type": "table"`, `"type": "list"`, "type list"},
		{"sites.csv", "code,", "kode,", "column 0"},
		{"sites.csv", "ZODD,", "ZEDD,", "is not in sites"},
		{"sites.csv", ",2016-01-01,", ",2016-02-31,", "is no date"},
		{"sites.csv", ",1800,", ",half an hour,", "is no integer"},
		{"sites.csv", ",1800,", ",,", "nothing where"},
		{"days.csv", "ZODD,2016-01-15", "ZODD,2016-01-14", "met before true"},
		{"openings.csv", "visitor", "", "nothing where"},
		{"openings.csv", "2016-01-14T09:12:33", "2016-01-14 09:12:33", "is no datetime"},
	} {
		files := maps.Clone(sound)
		files[tt.file] = bytes.Replace(files[tt.file], []byte(tt.old), []byte(tt.new), 1)
		if bytes.Equal(files[tt.file], sound[tt.file]) {
			t.Errorf("%s has no %q", tt.file, tt.old)
			continue
		}
		if wrong := checkPackage(files); !strings.Contains(strings.Join(wrong, "\n"), tt.want) {
			t.Errorf("%q for %q in %s: %q, want %q", tt.new, tt.old, tt.file, wrong, tt.want)
		}
	}
}

func unzipped(t *testing.T, raw []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if files[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		r.Close()
	}
	return files
}

// below are the files of a folder.
func below(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	err := filepath.WalkDir(dir, func(file string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, file)
		if err != nil {
			return err
		}
		files[filepath.ToSlash(name)], err = os.ReadFile(file)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}
