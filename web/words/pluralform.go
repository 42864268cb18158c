package words

import (
	"fmt"
	"go/ast"
	"go/parser"
	ops "go/token"
	"strconv"
	"strings"
)

// pluralForm is a catalogue's rule for which form of a noun goes with a number: the
// header "nplurals=2; plural=(n != 1);" of the PO format. The expression is C's; Go's
// own parser reads it, all but "a ? b : c", which is taken apart first.
type pluralForm struct {
	forms int
	when  []choice // in turn; the last has no condition
}

type choice struct {
	condition ast.Expr // nil: always
	value     ast.Expr
}

func readPluralForm(header string) (pluralForm, error) {
	count, rule, ok := strings.Cut(header, ";")
	forms, err := strconv.Atoi(strings.TrimPrefix(strings.TrimSpace(count), "nplurals="))
	rule = strings.TrimSuffix(strings.TrimSpace(rule), ";")
	rule, found := strings.CutPrefix(rule, "plural=")
	if !ok || err != nil || !found || forms < 1 {
		return pluralForm{}, fmt.Errorf("no plural forms in %q", header)
	}
	p := pluralForm{forms: forms}
	for rest, more := unwrapped(rule), true; more; {
		var c choice
		if rest, more, err = c.read(rest); err != nil {
			return pluralForm{}, fmt.Errorf("plural forms %q: %w", header, err)
		}
		p.when = append(p.when, c)
	}
	return p, nil
}

// unwrapped is a rule without brackets around the whole of it.
func unwrapped(rule string) string {
	rule = strings.TrimSpace(rule)
	depth := 0
	for i, r := range rule {
		switch r {
		case '(':
			depth++
		case ')':
			depth--
		}
		if depth == 0 && i < len(rule)-1 {
			return rule
		}
	}
	return strings.TrimSuffix(strings.TrimPrefix(rule, "("), ")")
}

// read takes "condition ? value : rest", or a last value, off the front of a rule.
func (c *choice) read(rule string) (rest string, more bool, err error) {
	condition, then, more := strings.Cut(rule, "?")
	value := condition
	if more {
		if value, rest, more = strings.Cut(then, ":"); !more {
			return "", false, fmt.Errorf("a ? lacks its colon")
		}
		if c.condition, err = parser.ParseExpr(condition); err != nil {
			return "", false, err
		}
		rest = unwrapped(rest)
	}
	if c.value, err = parser.ParseExpr(value); err == nil {
		_, err = number(c.value, 0)
	}
	if err == nil && c.condition != nil {
		_, err = number(c.condition, 0)
	}
	return rest, more, err
}

// of is the form that goes with n; the last one where the rule points beyond it.
func (p pluralForm) of(n int64) int {
	if n < 0 {
		n = -n
	}
	for _, c := range p.when {
		if c.condition != nil {
			if v, _ := number(c.condition, n); v == 0 {
				continue
			}
		}
		v, _ := number(c.value, n)
		return int(min(max(v, 0), int64(p.forms-1)))
	}
	return p.forms - 1
}

// number works out an expression of n; what is true is 1, as in C.
func number(e ast.Expr, n int64) (int64, error) {
	switch e := e.(type) {
	case *ast.ParenExpr:
		return number(e.X, n)
	case *ast.Ident:
		if e.Name == "n" {
			return n, nil
		}
	case *ast.BasicLit:
		if e.Kind == ops.INT {
			return strconv.ParseInt(e.Value, 10, 64)
		}
	case *ast.BinaryExpr:
		a, err := number(e.X, n)
		if err != nil {
			return 0, err
		}
		b, err := number(e.Y, n)
		if err != nil {
			return 0, err
		}
		return binary(e.Op, a, b)
	}
	return 0, fmt.Errorf("the rule has something other than n, numbers, comparisons, %%, && and ||")
}

func binary(op ops.Token, a, b int64) (int64, error) {
	is := func(b bool) (int64, error) {
		if b {
			return 1, nil
		}
		return 0, nil
	}
	switch op {
	case ops.EQL:
		return is(a == b)
	case ops.NEQ:
		return is(a != b)
	case ops.LSS:
		return is(a < b)
	case ops.LEQ:
		return is(a <= b)
	case ops.GTR:
		return is(a > b)
	case ops.GEQ:
		return is(a >= b)
	case ops.LAND:
		return is(a != 0 && b != 0)
	case ops.LOR:
		return is(a != 0 || b != 0)
	case ops.REM:
		if b == 0 {
			return 0, fmt.Errorf("a rest by nought")
		}
		return a % b, nil
	}
	return 0, fmt.Errorf("the rule has %s", op)
}
