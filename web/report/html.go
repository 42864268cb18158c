package report

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"sync"

	"doorleaf/web"
	"doorleaf/web/words"
)

//go:embed print.html
var printPage string

// printTemplates are the page in the languages that were asked for.
var printTemplates sync.Map // usage.Region to *template.Template

// printTemplate is the page in a language.
func printTemplate(w *words.Words) (*template.Template, error) {
	if t, ok := printTemplates.Load(w.Region()); ok {
		return t.(*template.Template), nil
	}
	source, err := w.Template("print", printPage)
	if err != nil {
		return nil, err
	}
	t, err := template.New("print").Funcs(template.FuncMap{"visible": web.Visible, "language": w.Language}).Parse(source)
	if err != nil {
		return nil, err
	}
	printTemplates.Store(w.Region(), t)
	return t, nil
}

// Style says where a report's page has its style sheet from: an address on the
// server that serves it, or, in a file that must stand alone, the sheet itself.
type Style struct {
	Href  string // "": Sheet is put into the page
	Sheet string // see web.ReportStyle
	Icon  string // address of the mark; "": none, as in a file that must stand alone
}

// printed is what the template is given.
type printed struct {
	*document
	Href  string
	Icon  string
	Sheet template.CSS
}

// WriteHTML writes a season report as one page to be printed or read on a screen,
// with its charts in it as SVG. It has no script, and needs nothing but its style
// sheet. It says what WritePDF writes, and fails where that would.
func WriteHTML(ctx context.Context, w io.Writer, s Season, style Style, d Drawing) error {
	doc, err := d.illustrated(ctx, s)
	if err != nil {
		return err
	}
	page := printed{document: doc, Href: style.Href, Icon: style.Icon}
	if style.Href == "" {
		page.Sheet = template.CSS(style.Sheet) // our own file
	}
	t, err := printTemplate(s.words())
	if err != nil {
		return fmt.Errorf("write report page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, page); err != nil {
		return fmt.Errorf("write report page: %w", err)
	}
	_, err = b.WriteTo(w)
	return err
}
