package server

import (
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
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
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
	page.Limits = web.UploadLimits(s.Limits.CardBytes, s.Limits.TotalBytes, s.Limits.Files)
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
	moreTime(w, slowWork)
	r.Body = steady(w, r.Body, s.stall, slowWork)
	r.Body = http.MaxBytesReader(w, r.Body, bodyFactor*s.Limits.TotalBytes)
	got, err := s.collect(r)
	if err != nil {
		return s.refuseUpload(w, r, got, err)
	}
	cards := got.Cards()
	if len(cards) == 0 {
		return s.refuseUpload(w, r, got, invalid("no card file was among what was chosen", "Choose the text files that the loggers write, a folder with them, or a .zip."))
	}
	name, err := s.Store.FillTray(r.Context(), trayCards(cards))
	if err != nil {
		return err
	}
	s.slips.put(name, slip{skipped: skippedWords(got)})
	return seeOther(w, r, "/tray/"+name)
}

// refuseUpload shows the form again and says why nothing was taken.
func (s *server) refuseUpload(w http.ResponseWriter, r *http.Request, got *importer.Collector, cause error) error {
	var fault *usage.Fault
	if !errors.As(cause, &fault) {
		return cause
	}
	page := web.BringPage{Fault: web.Problem(fault), Try: web.Try(fault), Skipped: skippedWords(got)}
	return s.sendBring(w, r, statuses[fault.Kind], page)
}

// collect reads the files of an upload, one after another, within the limits.
func (s *server) collect(r *http.Request) (*importer.Collector, error) {
	got := importer.NewCollector(s.Limits)
	parts, err := r.MultipartReader()
	if err != nil {
		return got, &usage.Fault{Kind: usage.Invalid, What: "the upload is no form with files", Err: err}
	}
	for n := 0; ; n++ {
		part, err := parts.NextRawPart()
		if err == io.EOF {
			return got, nil
		}
		if err != nil {
			return got, &usage.Fault{Kind: kindOfBody(err), What: "the upload broke off", Try: "Send it again.", Err: err}
		}
		if err := addPart(got, part, n-s.Limits.Files); err != nil {
			io.Copy(io.Discard, r.Body) // or the browser would not hear the answer
			return got, err
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
		cards[i] = store.TrayCard{Name: f.Name, Folder: f.Folder, Tag: f.Tag, Bytes: f.Bytes}
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
