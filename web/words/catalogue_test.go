package words_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"doorleaf/usage"
	"doorleaf/web/words"
)

var update = flag.Bool("update", false, "write the catalogues anew: what is new without its translation, what is gone left out")

// wanted is a text that a catalogue must have.
type wanted struct {
	context, id, plural string
	from                []string // files that hold it
	segment             *words.Segment
}

type wantedKey struct{ context, id string }

// gathered are the texts of all sources, in the order in which they were found.
type gathered struct {
	texts  []*wanted
	byKey  map[wantedKey]*wanted
	faults []string
}

func (g *gathered) add(w wanted, from string) {
	k := wantedKey{w.context, w.id}
	have := g.byKey[k]
	if have == nil {
		have = &w
		g.byKey[k] = have
		g.texts = append(g.texts, have)
	}
	if have.plural == "" {
		have.plural = w.plural
	}
	if w.plural != "" && have.plural != w.plural {
		g.faults = append(g.faults, fmt.Sprintf("%s: %q has the plural %q, and elsewhere %q", from, w.id, w.plural, have.plural))
	}
	if !slices.Contains(have.from, from) {
		have.from = append(have.from, from)
	}
}

var gatheredOnce *gathered

func gather(t *testing.T) *gathered {
	t.Helper()
	if gatheredOnce != nil {
		return gatheredOnce
	}
	g := &gathered{byKey: map[wantedKey]*wanted{}}
	gatherTemplates(t, g)
	gatherSource(t, g)
	gatherTold(t, g)
	for _, month := range words.MonthsShort {
		g.add(wanted{context: "short", id: month}, "web/words/times.go")
	}
	for _, day := range words.DaysShort {
		g.add(wanted{context: "short", id: day}, "web/words/times.go")
	}
	gatheredOnce = g
	return g
}

func gatherTemplates(t *testing.T, g *gathered) {
	names, err := filepath.Glob("../templates/*.html")
	if err != nil || len(names) == 0 {
		t.Fatalf("templates: %v, %v", names, err)
	}
	names = append(names, "../report/print.html")
	for _, name := range names {
		source, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range words.Segments(string(source)) {
			g.add(wanted{id: s.ID, segment: &s}, "web/"+strings.TrimPrefix(name, "../"))
		}
	}
}

// speaking are the packages whose source holds words.Text.
var speaking = []string{"doorleaf/web/words", "doorleaf/web", "doorleaf/web/chart", "doorleaf/web/report", "doorleaf/server"}

// gatherSource type-checks the packages and takes every constant of type words.Text.
func gatherSource(t *testing.T, g *gathered) {
	var listed bytes.Buffer
	list := exec.Command("go", append([]string{"list", "-export", "-deps", "-json=ImportPath,Dir,Export,GoFiles"}, speaking...)...)
	list.Stdout, list.Stderr = &listed, os.Stderr
	if err := list.Run(); err != nil {
		t.Fatal(err)
	}
	exports := map[string]string{}
	type pkg struct {
		ImportPath, Dir, Export string
		GoFiles                 []string
	}
	var checked []pkg
	for dec := json.NewDecoder(&listed); ; {
		var p pkg
		if err := dec.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		exports[p.ImportPath] = p.Export
		if slices.Contains(speaking, p.ImportPath) {
			checked = append(checked, p)
		}
	}
	fset := token.NewFileSet()
	imports := importer.ForCompiler(fset, "gc", func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) })
	for _, p := range checked {
		var files []*ast.File
		for _, name := range p.GoFiles {
			f, err := parser.ParseFile(fset, filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution)
			if err != nil {
				t.Fatal(err)
			}
			files = append(files, f)
		}
		info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}}
		if _, err := (&types.Config{Importer: imports}).Check(p.ImportPath, fset, files, info); err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			from := strings.TrimPrefix(p.ImportPath, "doorleaf/") + "/" + filepath.Base(fset.Position(f.Pos()).Filename)
			gatherFile(g, f, info, from, fset)
		}
	}
}

func gatherFile(g *gathered, f *ast.File, info *types.Info, from string, fset *token.FileSet) {
	nouns := map[ast.Expr]bool{} // those that a call with a number has taken
	ast.Inspect(f, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if ok && isText(info.Types[call.Fun].Type) && info.Types[call].Value == nil && !strings.HasPrefix(from, "web/words/") {
			g.faults = append(g.faults, fmt.Sprintf("%s: a words.Text is made of what is no constant", fset.Position(call.Pos())))
		}
		if ok && len(call.Args) == 3 && isText(info.Types[call.Args[1]].Type) && isText(info.Types[call.Args[2]].Type) {
			one, many := info.Types[call.Args[1]].Value, info.Types[call.Args[2]].Value
			if one != nil && many != nil {
				nouns[call.Args[1]], nouns[call.Args[2]] = true, true
				g.add(wanted{id: constant.StringVal(one), plural: constant.StringVal(many)}, from)
			}
		}
		if e, ok := n.(ast.Expr); ok && !nouns[e] {
			if tv := info.Types[e]; isText(tv.Type) && tv.Value != nil && constant.StringVal(tv.Value) != "" {
				g.add(wanted{id: constant.StringVal(tv.Value)}, from)
			}
		}
		return true
	})
}

func isText(t types.Type) bool {
	named, ok := t.(*types.Named)
	return ok && named.Obj().Name() == "Text" && named.Obj().Pkg().Path() == "doorleaf/web/words"
}

var verbs = regexp.MustCompile(`%(?:\[\d+\])?[-+# 0]*\d*(?:\.\d+)?[a-zA-Z]|%%`)

// spoken reports whether a text has anything to translate.
func (w *wanted) spoken() bool {
	return w.segment != nil || strings.ContainsFunc(verbs.ReplaceAllString(w.id, ""), unicode.IsLetter)
}

// verbsOf are the arguments that a format takes, in their order, whatever their verbs.
func verbsOf(format string) []string {
	var all []string
	next := 1
	for _, v := range verbs.FindAllString(format, -1) {
		if v == "%%" {
			continue
		}
		if at := regexp.MustCompile(`\[(\d+)\]`).FindStringSubmatch(v); at != nil {
			fmt.Sscan(at[1], &next)
		}
		all = append(all, fmt.Sprint(next))
		next++
	}
	slices.Sort(all)
	return all
}

// Every text has its translation in every language, the translation fits it, and no
// catalogue holds one that is gone.
func TestCatalogues(t *testing.T) {
	g := gather(t)
	for _, fault := range g.faults {
		t.Error(fault)
	}
	for _, language := range usage.Languages[1:] {
		messages := readCatalogue(t, language)
		if *update {
			writeCatalogue(t, language, g, messages)
			messages = readCatalogue(t, language)
		}
		entries := map[wantedKey]*words.Message{}
		for _, m := range messages {
			entries[wantedKey{m.Context, m.ID}] = m
			checkKnown(t, language, g, m)
		}
		for _, w := range g.texts {
			if m := entries[wantedKey{w.context, w.id}]; m != nil {
				checkEntry(t, language, w, m)
			} else if w.spoken() {
				t.Errorf("%s.po lacks %q, of %s", language, w.id, strings.Join(w.from, ", "))
			}
		}
	}
}

func checkKnown(t *testing.T, language string, g *gathered, m *words.Message) {
	if m.ID == "" && m.Context == "" || g.byKey[wantedKey{m.Context, m.ID}] != nil {
		return
	}
	w := g.byKey[wantedKey{"", m.ID}]
	switch {
	case w != nil && m.Context == "dative" && w.plural != "":
		checkEntry(t, language, w, m)
	case w != nil && w.segment != nil && slices.Contains(w.from, "web/templates/"+m.Context+".html"):
		checkEntry(t, language, w, m)
	default:
		t.Errorf("%s.po:%d: nothing says %q (%s) any more", language, m.Line, m.ID, m.Context)
	}
}

func checkEntry(t *testing.T, language string, w *wanted, m *words.Message) {
	at := fmt.Sprintf("%s.po:%d", language, m.Line)
	if m.Fuzzy() {
		t.Errorf("%s: %q is marked as fuzzy: look at it", at, m.ID)
	}
	if m.Plural != w.plural {
		t.Errorf("%s: %q has the plural %q, want %q", at, m.ID, m.Plural, w.plural)
	}
	for _, said := range m.Str {
		switch {
		case said == "":
			t.Errorf("%s: %q, of %s, is not translated", at, m.ID, strings.Join(w.from, ", "))
		case w.segment != nil:
			if err := w.segment.Fits(said); err != nil {
				t.Errorf("%s: %v", at, err)
			}
		case !slices.Equal(verbsOf(said), verbsOf(w.id)):
			t.Errorf("%s: %q takes %v, and its translation %q %v", at, m.ID, verbsOf(w.id), said, verbsOf(said))
		}
	}
}

func readCatalogue(t *testing.T, language string) []*words.Message {
	t.Helper()
	text, err := os.ReadFile(language + ".po")
	if err != nil {
		t.Fatal(err)
	}
	messages, err := words.ReadPO(string(text))
	if err != nil {
		t.Fatalf("%s.po: %v", language, err)
	}
	return messages
}

// writeCatalogue writes a catalogue in the order of the sources, with the translations
// that it had.
func writeCatalogue(t *testing.T, language string, g *gathered, had []*words.Message) {
	entries := map[wantedKey]*words.Message{}
	for _, m := range had {
		entries[wantedKey{m.Context, m.ID}] = m
	}
	var b strings.Builder
	header := entries[wantedKey{}]
	delete(entries, wantedKey{})
	writeMessage(&b, header, nil)
	for _, w := range g.texts {
		var contexts []string
		for k := range maps.Keys(entries) {
			if k.id == w.id && k.context != w.context && w.context == "" && k.context != "short" && k.context != "told" {
				contexts = append(contexts, k.context)
			}
		}
		slices.Sort(contexts)
		for _, context := range append([]string{w.context}, contexts...) {
			m := entries[wantedKey{context, w.id}]
			delete(entries, wantedKey{context, w.id})
			if m == nil && !w.spoken() {
				continue
			}
			if m == nil {
				m = &words.Message{Context: w.context, ID: w.id, Str: make([]string, 1)}
			}
			if m.Plural != w.plural {
				m.Plural, m.Str = w.plural, m.Str[:1:1]
				if w.plural != "" {
					m.Str = append(m.Str, "") // its plural is to be written: checkEntry asks for it
				}
			}
			writeMessage(&b, m, w.from)
		}
	}
	for k, m := range entries {
		t.Logf("%s.po: left out: %q (%s): %q", language, k.id, k.context, m.Str)
	}
	if err := os.WriteFile(language+".po", []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

func writeMessage(b *strings.Builder, m *words.Message, from []string) {
	if b.Len() > 0 {
		b.WriteByte('\n')
	}
	for _, note := range m.Notes {
		if !strings.HasPrefix(note, "#:") {
			b.WriteString(note + "\n")
		}
	}
	if len(from) > 0 {
		b.WriteString("#: " + strings.Join(from, " ") + "\n")
	}
	if m.Context != "" {
		fmt.Fprintf(b, "msgctxt %s\n", quoted(m.Context))
	}
	fmt.Fprintf(b, "msgid %s\n", quoted(m.ID))
	if m.Plural == "" {
		fmt.Fprintf(b, "msgstr %s\n", quoted(m.Str[0]))
		return
	}
	fmt.Fprintf(b, "msgid_plural %s\n", quoted(m.Plural))
	for i, said := range m.Str {
		fmt.Fprintf(b, "msgstr[%d] %s\n", i, quoted(said))
	}
}

// quoted writes a string of PO; one with lines goes on over lines.
func quoted(s string) string {
	q := func(s string) string {
		return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(s) + `"`
	}
	lines := strings.SplitAfter(strings.TrimSuffix(s, "\n"), "\n")
	if len(lines) == 1 {
		return q(s)
	}
	var b strings.Builder
	b.WriteString(`""`)
	for i, line := range lines {
		if i == len(lines)-1 && strings.HasSuffix(s, "\n") {
			line += "\n"
		}
		b.WriteString("\n" + q(line))
	}
	return b.String()
}
