package server

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/chart"
)

// answer gives an answer to the first open question of a site, through its form.
func (b *box) answer(t *testing.T, code string, given url.Values) answer {
	t.Helper()
	form := fieldsOf(find(b.get("/sites/"+code+"/questions").page(t), "form.answers")[0])
	for name, values := range given {
		form[name] = values
	}
	a := b.post("/sites/"+code+"/questions", form)
	if a.status != 303 {
		t.Fatalf("answer = %d, want 303\n%s", a.status, texts(a.page(t), "main"))
	}
	return a
}

// fieldsOf are the fields of a form as the browser would send them, buttons left
// out.
func fieldsOf(form *html.Node) url.Values {
	values := url.Values{}
	for n := range form.Descendants() {
		_, checked := attrOK(n, "checked")
		switch {
		case n.Type != html.ElementNode || attr(n, "name") == "":
		case n.Data == "textarea":
			values.Set(attr(n, "name"), text(n))
		case n.Data == "select":
			for _, o := range find(n, "option[selected]") {
				values.Set(attr(n, "name"), attr(o, "value"))
			}
		case n.Data == "input" && (attr(n, "type") != "checkbox" || checked):
			values.Set(attr(n, "name"), attr(n, "value"))
		}
	}
	return values
}

// The page shows the lines that a question is about, with those around them, and
// each leads to its place on the card.
func TestQuestionShowsItsLines(t *testing.T) {
	b, card := usualBox(t)
	page := b.get("/questions").page(t)
	rows := find(page, ".excerpt tbody tr")
	if len(rows) != 5 {
		t.Fatalf("%d lines are shown, want 5", len(rows))
	}
	meant := find(page, ".excerpt tr.meant")
	if len(meant) != 1 || texts(meant[0], "mark code")[0] != "<img src=x onerror=alert(1)>‹ESC›[31m" {
		t.Errorf("lines meant = %q, want the one that is no row", texts(page, ".excerpt tr.meant"))
	}
	if got, want := attr(find(meant[0], "a")[0], "href"), "/cards/"+card+"?line=43#line-43"; got != want {
		t.Errorf("the line leads to %s, want %s", got, want)
	}
	for _, link := range find(page, ".excerpt a") {
		address, line, _ := strings.Cut(attr(link, "href"), "#")
		if a := b.get(address); a.status != 200 || len(find(a.page(t), "#"+line)) != 1 {
			t.Errorf("GET %s = %d, want 200 with #%s", address, a.status, line)
		}
	}
}

// A question is answered in one click, moves below with who, when and why, and
// comes back when its answer is undone; the navigation counts with it.
func TestAnswerAndUndo(t *testing.T) {
	for _, address := range []string{"/questions", "/sites/MILL/questions"} {
		t.Run(address, func(t *testing.T) {
			b, _ := usualBox(t)
			open := func(when string, want string) *html.Node {
				t.Helper()
				page := b.get(address).page(t)
				if got := strings.Join(texts(page, "nav .open"), ""); got != want {
					t.Errorf("%s: the navigation says %q, want %q", when, got, want)
				}
				return page
			}
			form := find(open("at first", "1 open"), "form.answers")[0]
			given := fieldsOf(form)
			given.Set("answer", attr(find(form, "button[name=answer]")[0], "value"))
			given.Set("by", "Ann")
			given.Set("why", "a bad sector")
			if a := b.post(attr(form, "action"), given); a.status != 303 || !strings.HasPrefix(a.header.Get("Location"), address) {
				t.Fatalf("answer = %d to %s, want 303 to %s", a.status, a.header.Get("Location"), address)
			}
			page := open("answered", "")
			if len(find(page, ".glad")) != 1 || len(find(page, ".asked")) != 0 {
				t.Errorf("the page is not glad: %q", texts(page, "main"))
			}
			said := texts(page, ".answered li")
			if len(said) != 1 || !strings.Contains(said[0], "Ann , 1 July 2026, 13:00") && !strings.Contains(said[0], "Ann, 1 July 2026, 13:00") || !strings.Contains(said[0], "“a bad sector”") {
				t.Errorf("answered = %q, want who, when and why", said)
			}
			undo := find(page, ".answered form")[0]
			if a := b.post(attr(undo, "action"), fieldsOf(undo)); a.status != 303 || !strings.HasPrefix(a.header.Get("Location"), address+"#q-") {
				t.Fatalf("undo = %d to %s, want 303 to %s", a.status, a.header.Get("Location"), address)
			}
			if page := open("undone", "1 open"); len(find(page, ".answered")) != 0 || len(find(page, ".asked")) != 1 {
				t.Error("the question did not come back")
			}
		})
	}
}

// Where a form sends the browser on to never leaves the pages of questions.
func TestQuestionsAddress(t *testing.T) {
	for _, c := range []struct{ name, back, place, want string }{
		{"network", "network", "q-0123456789ab", "/questions#q-0123456789ab"},
		{"site", "site", "", "/sites/MILL/questions"},
		{"no place", "network", "//evil.example", "/questions"},
		{"no page", "https://evil.example", "q-0123456789ab\n", "/sites/MILL/questions"},
	} {
		if got := questionsAddress("MILL", c.back, c.place); got != c.want {
			t.Errorf("%s: questionsAddress(%q, %q) = %q, want %q", c.name, c.back, c.place, got, c.want)
		}
	}
}

// asked is a network whose site MILL has other findings than were derived.
type asked struct {
	network
	findings []usage.Finding
	ruled    *[]usage.Ruling
}

func (n asked) Findings(_ context.Context, code string) ([]usage.Finding, error) {
	if code != "MILL" {
		return nil, nil
	}
	return n.findings, nil
}

func (n asked) Rule(_ context.Context, _ string, r usage.Ruling) error {
	*n.ruled = append(*n.ruled, r)
	return nil
}

func askedBox(t *testing.T, findings ...usage.Finding) (b *box, ruled *[]usage.Ruling) {
	t.Helper()
	whole, _ := usualBox(t)
	ruled = &[]usage.Ruling{}
	h, err := New(Config{Store: asked{whole.store, findings, ruled}, Charts: chart.New(ruler{}), Now: func() time.Time { return noon }})
	if err != nil {
		t.Fatal(err)
	}
	return &box{Handler: h, store: whole.store}, ruled
}

func quietFinding(i int) usage.Finding {
	from := time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC).Unix()
	return usage.Finding{
		Key: fmt.Sprintf("quiet %d", i), Kind: "quiet stretch", From: from, To: from + 5*86400,
		Says: "5 days without an <b>opening</b>", Changes: "five days",
		Choices: []usage.Choice{
			{Answer: usage.AnswerOutage, Says: "no coverage"}, {Answer: usage.AnswerSeen, Says: "just seen"},
			{Answer: usage.AnswerQuiet, Says: "covered"}, {Answer: "new one", Says: "of a later version"},
		},
		Evidence: []usage.RowRef{{Card: 0, Line: 1}, {Card: 0, Line: 3}, {Card: 0, Line: 30}, {Card: 0, Line: 60}, {Card: 0, Line: 82}, {Card: 7, Line: 1}},
	}
}

// Each choice is a button of its own, that of every question last; a stretch of
// time has its drawing, and evidence that finds no room is counted.
func TestQuestionOffersItsChoices(t *testing.T) {
	b, ruled := askedBox(t, quietFinding(1))
	page := b.get("/questions").page(t)
	checkPage(t, page)
	var answers []string
	for _, n := range find(page, "button[name=answer]") {
		answers = append(answers, attr(n, "value"))
		a := b.post("/sites/MILL/questions", url.Values{"key": {"quiet 1"}, "answer": {attr(n, "value")}, "by": {"Ann"}})
		if a.status != 303 {
			t.Errorf("answer %s = %d, want 303", attr(n, "value"), a.status)
		}
	}
	if want := []string{"outage", "quiet", "new one", "seen"}; !slices.Equal(answers, want) {
		t.Errorf("answers = %q, want %q", answers, want)
	}
	if len(*ruled) != 4 || (*ruled)[0] != (usage.Ruling{Key: "quiet 1", Answer: usage.AnswerOutage, By: "Ann"}) {
		t.Errorf("ruled %+v, want the four answers", *ruled)
	}
	if got := len(find(page, ".asked figure svg")); got == 0 {
		t.Error("the stretch has no drawing")
	}
	if excerpts := find(page, ".excerpt"); len(excerpts) != 3 || len(find(excerpts[0], "tr.meant")) != 2 {
		t.Errorf("%d excerpts, want 3, the first with two lines that are meant", len(excerpts))
	}
	if got := strings.Join(texts(page, ".asked .fine"), "|"); !strings.Contains(got, "2 lines more") {
		t.Errorf("fine print = %q, want 2 lines more", got)
	}
	// A question that Enter in a field must not answer has a first button that
	// does nothing.
	if _, off := attrOK(find(page, "form.answers button")[0], "disabled"); !off {
		t.Error("Enter in a field of the form gives the first answer")
	}
}

// Many questions are shown page by page, each once, each leading to the next.
func TestQuestionsPageByPage(t *testing.T) {
	var findings []usage.Finding
	for i := range 45 {
		findings = append(findings, quietFinding(i))
	}
	b, _ := askedBox(t, findings...)
	seen := map[string]int{}
	pages := 0
	for path := "/sites/MILL/questions"; path != ""; pages++ {
		page := b.get(path).page(t)
		asked := find(page, "article.asked")
		for i, n := range asked {
			seen[attr(find(n, "input[name=key]")[0], "value")]++
			next := ""
			if i+1 < len(asked) {
				next = attr(asked[i+1], "id")
			}
			if got := attr(find(n, "input[name=next]")[0], "value"); got != next {
				t.Errorf("question %d leads to %q, want %q", i, got, next)
			}
		}
		path = ""
		for _, n := range find(page, ".pages a") {
			if text(n) == "Later questions" {
				path = attr(n, "href")
			}
		}
	}
	if pages != 3 || len(seen) != 45 {
		t.Errorf("%d pages show %d questions, want 3 with 45", pages, len(seen))
	}
}

func TestWholeDays(t *testing.T) {
	zone, err := usage.LoadZone("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	at := func(day, hour int) int64 { return time.Date(2026, 1, day, hour, 0, 0, 0, time.UTC).Unix() } // winter: civil time is UTC
	for _, c := range []struct {
		name        string
		from, to    int64
		first, last int
	}{
		{"parts at both ends", at(3, 17), at(12, 10), 4, 11},
		{"from midnight", at(3, 0), at(12, 10), 3, 11},
		{"to midnight", at(3, 17), at(12, 0), 4, 11},
		{"no whole day", at(3, 17), at(4, 10), 3, 4},
		{"within a day", at(3, 9), at(3, 10), 3, 3},
	} {
		first, last := wholeDays(zone, c.from, c.to)
		if first != usage.DateOf(2026, 1, c.first) || last != usage.DateOf(2026, 1, c.last) {
			t.Errorf("%s: wholeDays = %s, %s, want %d, %d January", c.name, first, last, c.first, c.last)
		}
	}
}

// Answers outlive their question, are shown, and can be undone.
func TestAnswerWithoutItsQuestion(t *testing.T) {
	b, card := usualBox(t)
	b.answer(t, "MILL", url.Values{"answer": {"seen"}})
	if err := b.store.Withdraw(t.Context(), card); err != nil {
		t.Fatal(err)
	}
	page := b.get("/questions").page(t)
	if got := texts(page, ".answered li"); len(got) != 1 || !strings.Contains(got[0], "does not arise") {
		t.Fatalf("answered = %q, want one whose question does not arise", got)
	}
	undo := find(page, ".answered form")[0]
	if a := b.post(attr(undo, "action"), fieldsOf(undo)); a.status != 303 {
		t.Errorf("undo = %d, want 303", a.status)
	}
	if rulings, err := b.store.Rulings(t.Context(), "MILL"); err != nil || len(rulings) != 0 {
		t.Errorf("rulings = %v, %v, want none", rulings, err)
	}
}

// A question that somebody has answered is odd no more.
func TestAnsweredIsNotOdd(t *testing.T) {
	b, _ := usualBox(t)
	for _, want := range []int{1, 0} {
		if got := len(find(b.get("/").page(t), "ul.odd")); got != want {
			t.Errorf("network page has %d lists of what is odd, want %d", got, want)
		}
		if got := len(find(b.get("/sites/MILL").page(t), "#odd")); got != want {
			t.Errorf("site page has %d lists of what is odd, want %d", got, want)
		}
		if want == 1 {
			b.answer(t, "MILL", url.Values{"answer": {"seen"}})
		}
	}
}

func TestQuestionsOfAnEmptyNetwork(t *testing.T) {
	b := newBox(t, importer.Limits{})
	page := b.get("/questions").page(t)
	checkPage(t, page)
	if got := texts(page, ".glad .lead"); len(got) != 1 || !strings.Contains(got[0], "Add a site") {
		t.Errorf("empty network says %q, want to add a site", got)
	}
}

var _ Network = asked{network: (*store.Store)(nil)}
