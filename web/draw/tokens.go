package draw

import "strings"

// Colours that options use for the page's tokens. In a drawing each becomes a
// CSS variable with itself as the fallback, "var(--c-ink,#25221d)": a page
// sets the variables per theme, and a drawing by itself looks as on the light
// theme. Any other colour stays as it is.
const (
	Ink    = "#25221d" // --c-ink: text, whiskers
	Faint  = "#645e52" // --c-faint: axis labels, notes
	Rule   = "#d9d0be" // --c-rule: grid lines
	Ground = "#f7f2e7" // --c-ground: the page behind the drawing
	Use    = "#2f6b53" // --c-use: bars; binding-cloth green
	Pale   = "#b5cabb" // --c-pale: bars on little evidence, the coverage strip
	Brick  = "#a4452c" // --c-brick: what needs a hand
	Hatch  = "#938a79" // --c-hatch: time without coverage
)

var tokens = map[string]string{
	Ink: "ink", Faint: "faint", Rule: "rule", Ground: "ground",
	Use: "use", Pale: "pale", Brick: "brick", Hatch: "hatch",
}

// Variables returns the CSS variables that drawings refer to, with the
// fallback that each has.
func Variables() map[string]string {
	vars := make(map[string]string, len(tokens))
	for hex, name := range tokens {
		vars["--c-"+name] = hex
	}
	return vars
}

// themed returns a colour as a drawing writes it.
func themed(colour string) string {
	if name, ok := tokens[strings.ToLower(colour)]; ok {
		return "var(--c-" + name + "," + strings.ToLower(colour) + ")"
	}
	return colour
}
