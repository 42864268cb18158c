package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"path"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer"
	"doorleaf/importer/cardfile"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// slowWork is how long an upload or the keeping of cards may take.
const slowWork = 15 * time.Minute

// bodyFactor bounds the bytes of an upload by the limit of its card files:
// what is over that limit is passed over unread, so that the browser gets to
// hear why, but not without end.
const bodyFactor = 16

func (s *server) routeBring(r chi.Router) {
	r.Get("/cards", s.do(s.bringForm))
	r.Post("/cards", s.do(s.bring))
}

func (s *server) bringForm(w http.ResponseWriter, r *http.Request) error {
	return s.sendBring(w, r, http.StatusOK, web.BringPage{})
}

func (s *server) sendBring(w http.ResponseWriter, r *http.Request, status int, page web.BringPage) error {
	sites, err := s.Store.Sites(r.Context())
	if err != nil {
		return err
	}
	page.Base = web.Base{Here: web.PlaceBring}
	page.Sites = len(sites)
	page.Limits = web.UploadLimits(s.words(r.Context()), s.Limits.CardBytes, s.Limits.TotalBytes, s.Limits.Files)
	page.Bounds = web.BringBounds{
		CardBytes: s.Limits.CardBytes, TotalBytes: s.Limits.TotalBytes, Files: s.Limits.Files,
		Endings: cardEndings(), Tag: importer.TagName,
	}
	return s.send(w, r, status, page)
}

// bring reads an upload and lays its cards on a tray. Nothing is kept yet.
func (s *server) bring(w http.ResponseWriter, r *http.Request) error {
	select {
	case s.uploads <- struct{}{}:
		defer func() { <-s.uploads }()
	case <-r.Context().Done():
		return r.Context().Err()
	}
	defer lean()()
	moreTime(w, slowWork)
	r.Body = steady(w, r.Body, s.stall, slowWork)
	r.Body = http.MaxBytesReader(w, r.Body, bodyFactor*s.Limits.TotalBytes)
	tray := r.URL.Query().Get("tray")
	got := importer.NewCollector(s.Limits)
	got.PackWith(store.PackCard)
	if tray != "" {
		there, bytes, err := s.Store.TrayLoad(r.Context(), tray)
		if err != nil {
			return err
		}
		got.Resume(there, bytes)
	}
	if err := s.collect(r, got); err != nil {
		return s.refuseUpload(w, r, got, err)
	}
	cards := got.Cards()
	switch {
	case len(cards) > 0:
		var err error
		if tray, err = s.lay(r.Context(), tray, got); err != nil {
			return s.refuseUpload(w, r, got, err)
		}
	case !wantsJSON(r):
		return s.refuseUpload(w, r, got, invalid("no card file was among what was chosen", "Choose the text files that the loggers write, a folder with them, or a .zip."))
	}
	if wantsJSON(r) {
		return sendJSON(w, r, broughtOf(s.words(r.Context()), tray, got))
	}
	return seeOther(w, r, "/tray/"+tray)
}

// lay lays the cards of an upload on a tray, a new one where tray is "", and returns
// its name.
func (s *server) lay(ctx context.Context, tray string, got *importer.Collector) (string, error) {
	cards := trayCards(got.Cards())
	if tray != "" {
		err := s.Store.AddToTray(ctx, tray, cards)
		if err == nil {
			skipped := append(s.slips.get(tray).skipped, skippedWords(got)...)
			s.slips.put(tray, slip{skipped: skipped[:min(len(skipped), skippedMost)]})
		}
		return tray, err
	}
	tray, err := s.Store.FillTray(ctx, cards)
	if err == nil {
		s.slips.put(tray, slip{skipped: skippedWords(got)})
	}
	return tray, err
}

// brought is what a script that sends cards one by one is told of each.
type brought struct {
	Tray  string `json:"tray"`  // to lay the next ones on; "" while there is none
	Cards int    `json:"cards"` // that this request laid on it
	Says  string `json:"says"`
}

func broughtOf(say *words.Words, tray string, got *importer.Collector) brought {
	var cards []web.ReadCard
	for _, found := range got.Cards() {
		var c web.ReadCard
		data, err := store.UnpackCard(found.Packed)
		var file *cardfile.File
		if err == nil {
			file, err = cardfile.Read(data, cardfile.Hint{})
		}
		switch {
		case len(data) == 0:
			c.Problem = say.Say(web.ProblemEmpty)
		case err != nil:
			c.Problem = web.Problem(say, err)
		default:
			c.Rows = len(file.Rows)
			c.First, c.Last = span(file)
		}
		cards = append(cards, c)
	}
	return brought{tray, len(cards), web.Brought(say, cards, skippedWords(got))}
}

// wantsJSON reports whether a script of ours asks, which wants no page.
func wantsJSON(r *http.Request) bool { return r.Header.Get("Accept") == "application/json" }

// cardEndings are the endings of card files for a page: "." where there is none.
func cardEndings() string {
	endings := importer.CardEndings()
	for i := range endings {
		endings[i] = cmp.Or(endings[i], ".")
	}
	return strings.Join(endings, " ")
}

// refuseUpload shows the form again and says why nothing was taken.
func (s *server) refuseUpload(w http.ResponseWriter, r *http.Request, got *importer.Collector, cause error) error {
	say := s.words(r.Context())
	var fault *usage.Fault
	if !errors.As(cause, &fault) || wantsJSON(r) {
		return cause
	}
	page := web.BringPage{Fault: web.Problem(say, fault), Try: web.Try(say, fault), Skipped: skippedWords(got)}
	return s.sendBring(w, r, statuses[fault.Kind], page)
}

// collect reads the files of an upload, one after another, within the limits.
func (s *server) collect(r *http.Request, got *importer.Collector) error {
	parts, err := r.MultipartReader()
	if err != nil {
		return &usage.Fault{Kind: usage.Invalid, What: "the upload is no form with files", Err: err}
	}
	for n := 0; ; n++ {
		part, err := parts.NextRawPart()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return &usage.Fault{Kind: kindOfBody(err), What: "the upload broke off", Try: "Send it again.", Err: err}
		}
		if err := addPart(got, part, n-s.Limits.Files); err != nil {
			io.Copy(io.Discard, r.Body) // or the browser would not hear the answer
			return err
		}
	}
}

// kindOfBody tells a body that is too large from one that is broken.
func kindOfBody(err error) usage.Kind {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return usage.TooLarge
	}
	return usage.Invalid
}

// fieldsMost is how many parts of an upload may be no files.
const fieldsMost = 100

// addPart adds a part of an upload that is a file. over is how many parts came
// before it beyond the number of files that an upload may have.
func addPart(got *importer.Collector, part *multipart.Part, over int) error {
	name := pathOf(part)
	if name == "" && over >= fieldsMost {
		return &usage.Fault{Kind: usage.TooLarge, What: "the upload has more fields than any form of ours", Try: "bring in fewer cards at once"}
	}
	if name == "" {
		return nil // another field, or a file field left empty
	}
	err := got.Add(name, part)
	if err == nil || usage.KindOf(err) != 0 {
		return err
	}
	return &usage.Fault{Kind: kindOfBody(err), What: "the upload broke off in " + name, Try: "Send it again.", Err: err}
}

// pathOf is the path of an uploaded file as the browser gave it, folders
// included (multipart.Part.FileName drops them), as a clean relative path.
func pathOf(part *multipart.Part) string {
	_, params, err := mime.ParseMediaType(part.Header.Get("Content-Disposition"))
	if err != nil || params["filename"] == "" {
		return ""
	}
	name := strings.ToValidUTF8(strings.ReplaceAll(params["filename"], `\`, "/"), "\uFFFD")
	return strings.TrimPrefix(path.Clean("/"+name), "/")
}

func trayCards(found []importer.Found) []store.TrayCard {
	cards := make([]store.TrayCard, len(found))
	for i, f := range found {
		cards[i] = store.TrayCard{Name: f.Name, Folder: f.Folder, Tag: f.Tag, Packed: f.Packed}
	}
	return cards
}

// skippedMost is how many files left out are told one by one.
const skippedMost = 200

func skippedWords(got *importer.Collector) []web.Skipped {
	var words []web.Skipped
	for i, skip := range got.Skipped() {
		if i == skippedMost {
			more := len(got.Skipped()) - skippedMost
			return append(words, web.Skipped{Path: "…", Why: fmt.Sprintf("and %d more", more)})
		}
		words = append(words, web.Skipped{Path: skip.Path, Why: skip.Why, Refused: skip.Refused})
	}
	return words
}
