package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"
	"unicode/utf16"

	"golang.org/x/term"
)

// visible writes text from a card, or from anywhere else, so that it cannot
// move the cursor or colour a terminal: what is not printable becomes \x1b,
// � and the like.
func visible(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n' || r == ' ' || unicode.IsPrint(r):
			b.WriteRune(r)
		case r < 0x100:
			fmt.Fprintf(&b, `\x%02x`, r)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.String()
}

// visibleJSON is visible for JSON: what is not printable stands in a string there,
// and is written as an escape that means the same.
func visibleJSON(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n' || r == ' ' || unicode.IsPrint(r):
			b.WriteRune(r)
		case r < 0x10000:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, high, low)
		}
	}
	return b.String()
}

// oneLine is visible for text that must stay on its line.
func oneLine(s string) string { return strings.ReplaceAll(visible(s), "\n", `\x0a`) }

// isTerminal reports whether w is a terminal that a person looks at.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
