package server

import (
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// parse reads a page.
func parse(t *testing.T, page string) *html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatalf("parse page: %v", err)
	}
	return doc
}

// find returns the elements that a selector names: words apart by spaces, each
// inside the one before, made of a tag, .classes, #ids and [attributes] or
// [attribute=value].
func find(root *html.Node, selector string) []*html.Node {
	found := []*html.Node{root}
	for _, step := range strings.Fields(selector) {
		var next []*html.Node
		seen := map[*html.Node]bool{}
		for _, n := range found {
			for d := range n.Descendants() {
				if d.Type == html.ElementNode && matches(d, step) && !seen[d] {
					seen[d] = true
					next = append(next, d)
				}
			}
		}
		found = next
	}
	return found
}

func matches(n *html.Node, step string) bool {
	for step != "" {
		end := strings.IndexAny(step[1:], ".#[") + 1
		if step[0] == '[' {
			end = strings.Index(step, "]") + 1
		}
		if end == 0 {
			end = len(step)
		}
		part := step[:end]
		step = step[end:]
		switch part[0] {
		case '.':
			if !strings.Contains(" "+attr(n, "class")+" ", " "+part[1:]+" ") {
				return false
			}
		case '#':
			if attr(n, "id") != part[1:] {
				return false
			}
		case '[':
			name, value, exact := strings.Cut(strings.Trim(part, "[]"), "=")
			if got, ok := attrOK(n, name); !ok || exact && got != value {
				return false
			}
		default:
			if n.Data != part {
				return false
			}
		}
	}
	return true
}

func attr(n *html.Node, name string) string {
	v, _ := attrOK(n, name)
	return v
}

func attrOK(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// text returns the text of an element with single spaces.
func text(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// texts returns the text of all elements that a selector names.
func texts(root *html.Node, selector string) []string {
	var all []string
	for _, n := range find(root, selector) {
		all = append(all, text(n))
	}
	return all
}

func TestFind(t *testing.T) {
	doc := parse(t, `<div id="a" class="x y"><p class="y">one</p><p title="t">two <b>three</b></p></div><p>four</p><i a="#b.c" class="d">five</i>`)
	for selector, want := range map[string]string{
		"p":           "one|two three|four",
		"div p":       "one|two three",
		".y":          "one two three|one",
		"div.x.y b":   "three",
		"#a [title]":  "two three",
		"p[title=t]":  "two three",
		"p[title=u]":  "",
		"i[a=#b.c].d": "five",
		"#a #a":       "",
		"div.z p.y":   "",
		"div#a.x p.y": "one",
	} {
		if got := strings.Join(texts(doc, selector), "|"); got != want {
			t.Errorf("texts(%q) = %q, want %q", selector, got, want)
		}
	}
}
