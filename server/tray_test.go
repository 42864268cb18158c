package server

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/url"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"doorleaf/importer"
	"doorleaf/web/words"
)

// fields are the fields of a page's first form with fields as a browser would
// send them untouched.
func fields(doc *html.Node) url.Values {
	form := url.Values{}
	for _, n := range find(doc, "form.tray input") {
		_, checked := attrOK(n, "checked")
		switch attr(n, "type") {
		case "checkbox", "radio":
			if checked {
				form.Set(attr(n, "name"), attr(n, "value"))
			}
		default:
			form.Set(attr(n, "name"), attr(n, "value"))
		}
	}
	for _, s := range find(doc, "form.tray select") {
		form.Set(attr(s, "name"), "")
		for _, o := range find(s, "option[selected]") {
			form.Set(attr(s, "name"), attr(o, "value"))
		}
	}
	return form
}

// only returns the name of the one field that begins so.
func only(t *testing.T, form url.Values, prefix string) string {
	t.Helper()
	found := ""
	for name := range form {
		if strings.HasPrefix(name, prefix) {
			if found != "" {
				t.Fatalf("two fields begin with %q", prefix)
			}
			found = name
		}
	}
	return found
}

// lay uploads files and returns the address of their tray and its page.
func (b *box) lay(t *testing.T, files ...file) (tray string, page *html.Node) {
	t.Helper()
	up := b.upload(t, files...)
	if up.status != 303 {
		t.Fatalf("upload = %d, want 303: %q", up.status, texts(up.page(t), ".trouble"))
	}
	tray = up.header.Get("Location")
	return tray, b.get(tray).page(t)
}

func (b *box) cards(t *testing.T, code string) int {
	t.Helper()
	cards, err := b.store.Cards(t.Context(), code)
	if err != nil {
		t.Fatal(err)
	}
	return len(cards)
}

// The whole way: bring in, look, keep, look at the site, download, withdraw.
func TestFromUploadToSite(t *testing.T) {
	b, _ := usualBox(t)
	data := cardFrom(2025, 20)
	tray, page := b.lay(t, file{"round 7/QUAY/LOG.TXT", data})
	if got := texts(page, ".count strong"); len(got) != 1 || got[0] != "41 rows" {
		t.Errorf("tray says %q, want 41 rows", got)
	}
	if got := b.cards(t, "QUAY"); got != 0 {
		t.Fatalf("%d cards are kept before anybody said so", got)
	}
	kept := b.post(tray+"/keep", fields(page))
	if kept.status != 303 || kept.header.Get("Location") != tray+"/receipt" {
		t.Fatalf("keep = %d to %s: %q", kept.status, kept.header.Get("Location"), texts(kept.page(t), ".trouble"))
	}
	receipt := b.get(tray + "/receipt").page(t)
	if got := texts(receipt, ".receipts li.kept p"); len(got) != 2 || !strings.Contains(got[0], "41 rows") || !strings.Contains(got[1], "41 openings new") {
		t.Errorf("receipt says %q, want 41 rows and 41 openings new", got)
	}
	again := b.post(tray+"/keep", fields(page))
	if again.status != 303 || again.header.Get("Location") != tray+"/receipt" {
		t.Errorf("keep pressed twice = %d, want the receipt", again.status)
	}
	card := attr(find(receipt, ".receipts li.kept a[href]")[1], "href")
	download := b.get(card + "/file")
	if download.body != string(data) {
		t.Error("downloaded bytes are not those that were uploaded")
	}
	if got := download.header.Get("Content-Disposition"); got != "attachment; filename=LOG.TXT" || download.header.Get("Content-Type") != "application/octet-stream" {
		t.Errorf("download comes as %q, %q", got, download.header.Get("Content-Type"))
	}
	if got := texts(b.get("/sites/QUAY").page(t), "figure h2"); len(got) != 6 {
		t.Errorf("site has the figures %q, want 6", got)
	}
	if got := b.post(card+"/withdraw", nil); got.status != 303 {
		t.Errorf("withdraw = %d, want 303", got.status)
	}
	if got := b.cards(t, "QUAY"); got != 0 {
		t.Errorf("%d cards are left after withdrawing the only one", got)
	}
}

// pressed is a store on which the button that keeps a tray is pressed once more just
// before the bytes of its cards are taken from it.
type pressed struct {
	wholeStore
	reads int // of the bytes of cards
	more  func()
}

func (p *pressed) TrayBytes(ctx context.Context, tray string, id int64) ([]byte, error) {
	if p.reads++; p.reads == 3 { // after the page that shows it, and the form that is judged
		p.more()
	}
	return p.wholeStore.TrayBytes(ctx, tray, id)
}

// The button pressed twice keeps the cards once, and both see the receipt of it.
func TestKeepPressedTwice(t *testing.T) {
	b, _ := usualBox(t)
	p := &pressed{wholeStore: b.store}
	var err error
	b.Handler, err = New(Config{Store: p, Access: b.store, Now: func() time.Time { return noon }, Log: slog.New(slog.NewTextHandler(b.log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	tray, page := b.lay(t, file{"QUAY/LOG.TXT", cardFrom(2025, 20)})
	p.more = func() {
		if a := b.post(tray+"/keep", fields(page)); a.status != 303 {
			t.Errorf("the second press = %d, want 303", a.status)
		}
	}
	if a := b.post(tray+"/keep", fields(page)); a.status != 303 || a.header.Get("Location") != tray+"/receipt" {
		t.Errorf("the first press = %d to %s, want the receipt", a.status, a.header.Get("Location"))
	}
	if got := find(b.get(tray+"/receipt").page(t), ".receipts li.kept"); len(got) != 1 || b.cards(t, "QUAY") != 1 || p.reads < 4 {
		t.Errorf("the receipt has %d kept cards, the site %d; the cards were read %d times", len(got), b.cards(t, "QUAY"), p.reads)
	}
}

// A finding leads to the lines that it is about.
func TestFindingLeadsToItsLine(t *testing.T) {
	b, card := usualBox(t)
	links := find(b.get("/sites/MILL").page(t), "#odd li a[href]")
	if len(links) == 0 {
		t.Fatal("no finding links to a line")
	}
	href, line, _ := strings.Cut(attr(links[0], "href"), "#")
	if want := "/cards/" + card + "?line=43"; href != want {
		t.Fatalf("finding leads to %s, want %s", href, want)
	}
	if got := find(b.get(href).page(t), "tr.complaint#"+line); len(got) != 1 {
		t.Errorf("no complaint stands at %s#%s", href, line)
	}
}

func TestSameCardTwice(t *testing.T) {
	b, card := usualBox(t)
	tray, page := b.lay(t, file{"COPY.TXT", cardText(40)})
	if got := texts(page, ".already"); len(got) != 1 {
		t.Errorf("tray does not say that the card is there already")
	}
	b.post(tray+"/keep", fields(page))
	receipt := b.get(tray + "/receipt").page(t)
	if got := find(receipt, `.receipts li.already a[href=/cards/`+card+`]`); len(got) != 1 {
		t.Errorf("receipt says %q, want already there", texts(receipt, ".receipts li"))
	}
	if got := b.cards(t, "MILL"); got != 1 {
		t.Errorf("%d cards are kept, want 1", got)
	}
}

func TestSiteOfCard(t *testing.T) {
	longer := cardText(50)
	for _, c := range []struct {
		name  string
		files []file
		site  string // suggested, "" for none
		why   string
		held  bool
	}{
		{"nothing tells", []file{{"LOG.TXT", []byte("2025-01-31 10:00:00 5\n")}}, "", "Nothing on the card tells.", false},
		{"tag file", []file{{"a/LOG.TXT", []byte("2025-01-31 10:00:00 5\n")}, {"a/DOORLEAF.TXT", []byte("site QUAY\r\n")}}, "QUAY", "Its tag file says so.", false},
		{"folder by code", []file{{"x/quay 3/LOG.TXT", []byte("2025-01-31 10:00:00 5\n")}}, "QUAY", "Its folder's name says so.", false},
		{"folder by name", []file{{"mill lane/sub/LOG.TXT", []byte("2025-01-31 10:00:00 5\n")}}, "MILL", "Its folder's name says so.", false},
		{"folder that only begins like a code", []file{{"millstone/LOG.TXT", []byte("2025-01-31 10:00:00 5\n")}}, "", "Nothing on the card tells.", false},
		{"overlap", []file{{"QUAY/LOG.TXT", longer}}, "MILL", "of its rows stand in that site's logbook already.", false},
		{"tag against overlap", []file{{"a/LOG.TXT", longer}, {"a/DOORLEAF.TXT", []byte("site QUAY\r\n")}}, "", "Its tag file says so.", true},
		{"tag that names no site", []file{{"a/LOG.TXT", []byte("2025-01-31 10:00:00 5\n")}, {"a/DOORLEAF.TXT", []byte("site HILL\n")}}, "", "names HILL", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _ := usualBox(t)
			_, page := b.lay(t, c.files...)
			form := fields(page)
			if got := form.Get(only(t, form, "site-")); got != c.site {
				t.Errorf("suggested site = %q, want %q", got, c.site)
			}
			if got := strings.Join(texts(page, ".field span.hint"), " "); !strings.Contains(got, c.why) {
				t.Errorf("reason = %q, want %q", got, c.why)
			}
			if got := len(find(page, ".question")) > 0; got != c.held {
				t.Errorf("held back = %v, want %v", got, c.held)
			}
		})
	}
}

// A card whose rows stand in another site's logbook is kept only once somebody
// says that they are sure.
func TestHeldCard(t *testing.T) {
	b, _ := usualBox(t)
	tray, page := b.lay(t, file{"LOG.TXT", cardText(50)})
	form := fields(page)
	key := strings.TrimPrefix(only(t, form, "site-"), "site-")
	form.Set("site-"+key, "QUAY")
	held := b.post(tray+"/keep", form)
	if held.status != 409 || b.cards(t, "QUAY") != 0 {
		t.Fatalf("keep = %d with %d cards kept, want 409 and none", held.status, b.cards(t, "QUAY"))
	}
	again := fields(held.page(t))
	if again.Get("site-"+key) != "QUAY" {
		t.Errorf("the form forgot the site: %v", again)
	}
	again.Set("sure-"+key, "yes")
	if got := b.post(tray+"/keep", again); got.status != 303 || b.cards(t, "QUAY") != 1 {
		t.Errorf("keep when sure = %d with %d cards, want 303 and 1", got.status, b.cards(t, "QUAY"))
	}
}

func TestDateOrderIsAsked(t *testing.T) {
	b, _ := usualBox(t)
	data := []byte("03/04/2025 10:00:00 5\n05/06/2025 11:00:00 9\n07/08/2025 12:00:00\n")
	tray, page := b.lay(t, file{"QUAY/LOG.TXT", data})
	if got := texts(page, ".question .choice"); len(got) != 2 || !strings.Contains(got[0], "3 April 2025") || !strings.Contains(got[1], "4 March 2025") {
		t.Fatalf("tray offers %q, want 3 April and 4 March", got)
	}
	form := fields(page)
	asked := b.post(tray+"/keep", form)
	if got := texts(asked.page(t), ".trouble li"); asked.status != 409 || len(got) != 1 || !strings.Contains(got[0], "order") {
		t.Errorf("keep without an answer = %d %q, want 409 and one fault", asked.status, got)
	}
	key := strings.TrimPrefix(only(t, form, "site-"), "site-")
	form.Set("order-"+key, "mdy")
	if got := b.post(tray+"/keep", form); got.status != 303 {
		t.Fatalf("keep = %d, want 303", got.status)
	}
	days := decode[[]dayJSON](t, b.get("/api/sites/QUAY/days"))
	if got := days[0].Date.String(); got != "2025-03-04" {
		t.Errorf("first day = %s, want 2025-03-04", got)
	}
	// The next card of the site asks with the earlier answer filled in.
	_, page = b.lay(t, file{"QUAY/LOG.TXT", []byte("09/10/2025 10:00:00 5\n10/11/2025 11:00:00 9\n")})
	if form := fields(page); form.Get(only(t, form, "order-")) != "mdy" {
		t.Errorf("next card's form = %v, want mdy filled in", form)
	}
}

func TestTimeOfRemoval(t *testing.T) {
	for _, c := range []struct {
		name, local string
		want        int64 // Unix s; 0 refused
	}{
		{"winter", "2026-01-10T12:00", 1768046400},
		{"summer", "2026-07-10T12:00", 1783681200},
		{"with seconds", "2026-01-10T12:00:05", 1768046405},
		{"hour that comes twice: the first", "2026-10-25T01:30", 1792888200},
		{"hour that is missing", "2026-03-29T01:30", 0},
		{"no time", "yesterday", 0},
		{"no month 13", "2026-13-10T12:00", 0},
	} {
		at, says := localInstant(words.English, c.local, "Europe/Dublin")
		if at != c.want || (says == "") != (c.want != 0) {
			t.Errorf("%s: localInstant(words.English, %q) = %d, %q, want %d", c.name, c.local, at, says, c.want)
		}
	}
}

func TestRemovalIsKept(t *testing.T) {
	b, _ := usualBox(t)
	tray, page := b.lay(t, file{"QUAY/LOG.TXT", []byte("2026-01-09 10:00:00 5\n2026-01-10 11:58:00\n")})
	form := fields(page)
	form.Set(only(t, form, "removed-"), "2026-01-10T12:00")
	if got := b.post(tray+"/keep", form); got.status != 303 {
		t.Fatalf("keep = %d, want 303", got.status)
	}
	cards, err := b.store.Cards(t.Context(), "QUAY")
	if err != nil || len(cards) != 1 || cards[0].RemovedAt == nil || *cards[0].RemovedAt != 1768046400 {
		t.Errorf("cards = %+v, %v, want one removed at 1768046400", cards, err)
	}
}

// What is too much is refused in words, and nothing of it stays.
func TestUploadLimits(t *testing.T) {
	limits := importer.Limits{CardBytes: 2000, TotalBytes: 5000, Files: 4}
	row := []byte("2025-01-31 10:00:00 5\n")
	for _, c := range []struct {
		name   string
		files  []file
		status int
		says   string
	}{
		{"nothing", nil, 400, "No card file"},
		{"no card", []file{{"a/photo.jpg", row}}, 400, "No card file"},
		{"a card too large", []file{{"LOG.TXT", bytes.Repeat(row, 100)}}, 400, "larger than"},
		{"together too large", []file{{"1.TXT", bytes.Repeat(row, 90)}, {"2.TXT", bytes.Repeat(row, 90)}, {"3.TXT", bytes.Repeat(row, 90)}}, 413, "larger than"},
		{"too many", []file{{"1.TXT", row}, {"2.TXT", row}, {"3.TXT", row}, {"4.TXT", row}, {"5.TXT", row}}, 413, "more than 4 files"},
		{"a .zip that unpacks to too much", []file{{"a.zip", zipOf(t, file{"LOG.TXT", bytes.Repeat(row, 500)})}}, 400, "larger than"},
		{"a broken .zip", []file{{"a.zip", []byte("PK nonsense")}}, 400, "not a .zip"},
		{"more than will be read at all", []file{{"LOG.TXT", bytes.Repeat(row, 5000)}}, 413, ""},
		{"a large card beside a good one", []file{{"LOG.TXT", bytes.Repeat(row, 100)}, {"OK.TXT", row}}, 303, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBox(t, limits)
			got := b.upload(t, c.files...)
			if got.status != c.status {
				t.Errorf("upload = %d, want %d", got.status, c.status)
			}
			if shown := strings.ToLower(text(find(got.page(t), "body")[0])); !strings.Contains(shown, strings.ToLower(c.says)) {
				t.Errorf("page does not say %q: %s", c.says, shown)
			}
		})
	}
}

func zipOf(t *testing.T, files ...file) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range files {
		w, err := z.Create(f.path)
		if err != nil {
			t.Fatal(err)
		}
		w.Write(f.bytes)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestZipOfFolders(t *testing.T) {
	b, _ := usualBox(t)
	row := []byte("2025-01-31 10:00:00 5\n")
	_, page := b.lay(t, file{"round.zip", zipOf(t, file{"MILL/LOG.TXT", row}, file{"QUAY/LOG.TXT", append(row, row...)}, file{"QUAY/photo.jpg", row})})
	if got := texts(page, "h2 .file"); fmt.Sprint(got) != "[round.zip/MILL / LOG.TXT round.zip/QUAY / LOG.TXT]" {
		t.Errorf("cards on the tray = %q", got)
	}
	form := fields(page)
	sites := map[string]bool{}
	for name := range form {
		if strings.HasPrefix(name, "site-") {
			sites[form.Get(name)] = true
		}
	}
	if !sites["MILL"] || !sites["QUAY"] {
		t.Errorf("suggested sites = %v, want MILL and QUAY", sites)
	}
	if got := texts(page, ".skipped li"); len(got) != 1 {
		t.Errorf("left out = %q, want the photo", got)
	}
}

func TestThrowTray(t *testing.T) {
	b, _ := usualBox(t)
	tray, page := b.lay(t, file{"QUAY/LOG.TXT", cardText(3)})
	if got := b.post(tray+"/throw", nil); got.status != 303 || got.header.Get("Location") != "/cards" {
		t.Errorf("throw = %d, want 303 to /cards", got.status)
	}
	if got := b.post(tray+"/keep", fields(page)); got.status != 404 || b.cards(t, "QUAY") != 0 {
		t.Errorf("keep after throwing away = %d with %d cards, want 404 and none", got.status, b.cards(t, "QUAY"))
	}
}

// One card that is refused does not hold up its neighbours of the same site.
func TestRefusedCard(t *testing.T) {
	b, _ := usualBox(t)
	tray, page := b.lay(t, file{"MILL.TXT", cardText(40)}, file{"NEW.TXT", []byte("2025-01-31 10:00:00 5\n2025-02-01 10:00:00 5\n")})
	form := fields(page)
	for name := range form {
		if strings.HasPrefix(name, "site-") { // the first is kept at MILL already
			form.Set(name, "QUAY")
			form.Set("sure-"+strings.TrimPrefix(name, "site-"), "yes")
			form.Set("keep-"+strings.TrimPrefix(name, "site-"), "yes")
		}
	}
	if got := b.post(tray+"/keep", form); got.status != 303 {
		t.Fatalf("keep = %d, want 303: %q", got.status, texts(got.page(t), ".trouble"))
	}
	receipt := b.get(tray + "/receipt").page(t)
	if refused, kept := texts(receipt, "li.refused"), texts(receipt, "li.kept"); len(refused) != 1 || len(kept) != 1 {
		t.Errorf("refused %q, kept %q, want one of each", refused, kept)
	}
	if got := b.cards(t, "QUAY"); got != 1 {
		t.Errorf("QUAY keeps %d cards, want 1", got)
	}
	if got := find(receipt, "a[href="+tray+"]"); len(got) != 1 {
		t.Error("receipt does not lead back to what lies on the tray")
	}
}

func TestAddAndChangeSite(t *testing.T) {
	b := newBox(t, importer.Limits{})
	if got := texts(b.get("/").page(t), ".steps h2"); len(got) != 4 {
		t.Errorf("an empty network says %q, want what to do first", got)
	}
	good := url.Values{
		"code": {" hill "}, "name": {"Hill Top"}, "latitude": {"52,5"}, "longitude": {"−8.25"}, "zone": {"Europe/Dublin"},
		"installed": {"2026-01-02"}, "clock": {"fixed"}, "order": {""},
	}
	for field, bad := range map[string]string{
		"code": "TOO LONG A CODE", "name": "", "latitude": "91", "longitude": "NaN", "zone": "Local", "installed": "2026-02-30", "clock": "", "order": "dym",
	} {
		form := url.Values{}
		for k, v := range good {
			form[k] = v
		}
		form.Set(field, bad)
		got := b.post("/sites/new", form)
		faults := find(got.page(t), ".trouble li a[href=#"+field+"]")
		if got.status != 400 || len(faults) != 1 || len(find(got.page(t), "#"+field+"[aria-invalid=true]")) != 1 {
			t.Errorf("%s=%q = %d with %d faults, want 400 with one at the field", field, bad, got.status, len(faults))
		}
	}
	if got := b.post("/sites/new", good); got.status != 303 || got.header.Get("Location") != "/sites/HILL" {
		t.Fatalf("add = %d to %q, want 303 to /sites/HILL", got.status, got.header.Get("Location"))
	}
	site, err := b.store.Site(t.Context(), "HILL")
	if err != nil || site.Latitude != 52.5 || site.Longitude != -8.25 || site.InstalledOn.String() != "2026-01-02" {
		t.Errorf("site = %+v, %v", site.Site, err)
	}
	if got := b.post("/sites/new", good); got.status != 400 || len(find(got.page(t), ".trouble li")) != 1 {
		t.Errorf("adding a code twice = %d, want 400 with a fault", got.status)
	}
	good.Set("name", "Hill Foot")
	good.Set("clock", "civil")
	good.Set("order", "dmy")
	if got := b.post("/sites/HILL/change", good); got.status != 303 {
		t.Errorf("change = %d, want 303", got.status)
	}
	if site, _ = b.store.Site(t.Context(), "HILL"); site.Name != "Hill Foot" || site.Clock != "civil" || site.Profile.DateOrder != "dmy" {
		t.Errorf("changed site = %+v", site.Site)
	}
	good.Set("name", "")
	if got := b.post("/sites/HILL/change", good); got.status != 400 {
		t.Errorf("bad change = %d, want 400", got.status)
	}
}
