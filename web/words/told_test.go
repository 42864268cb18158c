package words_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// tellers are the folders whose sentences pages retell: all that they say, or only what
// stands in faults and in fields that people read.
var tellers = []struct {
	dir string
	all bool
}{
	{"usage", true}, {"importer", true}, {"importer/clock", true}, {"importer/cardfile", true}, {"importer/logbook", true},
	{"store", false}, {"server", false},
}

// toldFields are those whose texts people read.
var toldFields = map[string]bool{"Says": true, "Changes": true, "What": true, "Try": true}

// loneWords are filled into sentences, or are kinds of findings; a single word is not
// taken for a sentence, so that they are named here.
var loneWords = map[string]string{
	"once": "usage/door.go", "twice": "usage/door.go", "rattle": "usage/door.go", "drift": "importer/clock/drift.go",
	"fast": "importer/clock/drift.go", "slow": "importer/clock/drift.go",
	"forward": "importer/clock/settle.go", "back": "importer/clock/settle.go",
	"behind": "importer/benchclock.go", "ahead": "importer/benchclock.go", "passphrase": "store/journal.go",
	"name": "store/network.go", "language": "store/network.go", "dates": "store/network.go", "clock": "store/network.go",
	"decimal mark": "store/network.go", "first day of the week": "store/network.go", "none": "store/journal.go",
	"command line": "store/journal.go", "at the machine": "store/journal.go", "zero": "importer/cardfile/rows.go",
	"restock": "usage/ruling.go", "batteries": "usage/ruling.go", "repair": "usage/ruling.go", "note": "usage/ruling.go",
}

// gatherTold takes the English sentences of the tellers.
func gatherTold(t *testing.T, g *gathered) {
	for _, from := range tellers {
		names, err := filepath.Glob("../../" + from.dir + "/*.go")
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %v, %v", from.dir, names, err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			source, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, source, 0)
			if err != nil {
				t.Fatal(err)
			}
			short := from.dir + "/" + filepath.Base(name)
			for _, text := range sentences(file, from.all) {
				g.add(wanted{context: "told", id: text}, short)
			}
			for _, text := range slices.Sorted(maps.Keys(loneWords)) {
				if loneWords[text] != short {
					continue
				}
				if !strings.Contains(string(source), strconv.Quote(text)) {
					t.Errorf("%s does not say %q any more", short, text)
				}
				g.add(wanted{context: "told", id: text}, short)
			}
		}
	}
}

// sentences are the texts of a file that people may read: those with a space between
// words. A text glued with + is one, with %s where something comes in; the nouns of a
// number stand behind %d. Causes of errors, queries, patterns and what goes into the log
// are left out.
func sentences(file *ast.File, all bool) []string {
	var found []string
	add := func(text string) {
		if isSentence(text) {
			found = append(found, text)
		}
	}
	var look func(n ast.Node, inside bool)
	look = func(n ast.Node, inside bool) {
		ast.Inspect(n, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.ImportSpec, *ast.Field:
				return false
			case *ast.ValueSpec:
				if kind, ok := n.Type.(*ast.Ident); ok && kind.Name == "Deed" {
					look(n.Values[0], true)
				}
			case *ast.KeyValueExpr:
				if key, ok := n.Key.(*ast.Ident); ok && !inside && toldFields[key.Name] {
					look(n.Value, true)
					return false
				}
			case *ast.CallExpr:
				switch callee(n) {
				case "Errorf", "New", "Say", "Warn", "MustCompile", "Join", "Contains", "TrimPrefix", "HasPrefix", "CutPrefix", "Exec", "ExecContext", "collect", "QueryRowContext", "Logf":
					return false
				case "invalid", "notFound": // faults of server
					for _, arg := range n.Args {
						look(arg, true)
					}
					return false
				case "plural", "Plural":
					if len(n.Args) == 3 && inside {
						one, _ := literal(n.Args[1])
						many, _ := literal(n.Args[2])
						if one != "" && many != "" {
							add("%d " + one)
							add("%d " + many)
						}
						return false
					}
				}
			case *ast.BinaryExpr:
				if text, ok := glued(n); ok && n.Op == token.ADD {
					if inside {
						add(text)
					}
					return false
				}
			case *ast.BasicLit:
				if text, ok := literal(n); ok && inside && !strings.HasPrefix(n.Value, "`") {
					add(text)
				}
			}
			return true
		})
	}
	look(file, all)
	return found
}

func callee(call *ast.CallExpr) string {
	switch f := call.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

func literal(e ast.Expr) (string, bool) {
	lit, ok := e.(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(lit.Value)
	return text, err == nil
}

// glued is a sum of texts as one format; false where no text is in it.
func glued(e ast.Expr) (string, bool) {
	if b, ok := e.(*ast.BinaryExpr); ok && b.Op == token.ADD {
		left, l := glued(b.X)
		right, r := glued(b.Y)
		return left + right, l || r
	}
	if text, ok := literal(e); ok {
		return text, true
	}
	return "%s", false
}

var (
	word    = regexp.MustCompile(`\pL{2,}`)
	verbOf  = regexp.MustCompile(`%(\[\d+\])?[+#]?(\.\d+)?[a-z]`)
	queries = regexp.MustCompile(`^\s*(SELECT|INSERT|UPDATE|DELETE|WITH|PRAGMA|BEGIN|CREATE|ATTACH|VACUUM)\b`)
)

// isSentence reports whether a text is for people: it has a word and a space.
func isSentence(text string) bool {
	bare := verbOf.ReplaceAllString(text, "")
	return strings.Contains(strings.TrimSpace(text), " ") && word.MatchString(bare) && !queries.MatchString(text) && !strings.ContainsAny(text, "\n\t") && !strings.Contains(text, "%w")
}
