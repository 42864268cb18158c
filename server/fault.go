package server

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"strings"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

// statuses are the HTTP statuses of the kinds of fault.
var statuses = map[usage.Kind]int{
	usage.Invalid:  http.StatusBadRequest,
	usage.NotFound: http.StatusNotFound,
	usage.Conflict: http.StatusConflict,
	usage.TooLarge: http.StatusRequestEntityTooLarge,
}

// handler is a handler that reports its error instead of writing it.
type handler func(w http.ResponseWriter, r *http.Request) error

// do makes an http.HandlerFunc of a handler.
func (s *server) do(h handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := h(w, r); err != nil {
			s.fail(w, r, err)
		}
	}
}

// fail answers with what went wrong. A Fault says so itself; any other error
// is logged under an id, and the answer shows no more than the id.
func (s *server) fail(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // nobody is listening any more
	}
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		err = &usage.Fault{Kind: usage.TooLarge, What: "the request is larger than this server takes",
			Try: "Bring in fewer cards at once.", Err: err}
	}
	var fault *usage.Fault
	if errors.As(err, &fault) && statuses[fault.Kind] != 0 {
		s.refuse(w, r, statuses[fault.Kind], fault)
		return
	}
	id := errorID()
	s.Log.Error("request failed", "id", id, "method", r.Method, "path", r.URL.Path, "err", err)
	s.answer(w, r, web.FaultPage{Status: http.StatusInternalServerError, ID: id,
		What: "Doorleaf could not answer this request", Try: "Nothing was changed by halves. Try again, or look into the log."})
}

// refuse answers with a fault.
func (s *server) refuse(w http.ResponseWriter, r *http.Request, status int, fault *usage.Fault) {
	s.answer(w, r, web.FaultPage{Status: status, What: fault.What, Try: fault.Try})
}

// answer sends a fault as a page in the network's language or, below /api/, as problem
// details, in English.
func (s *server) answer(w http.ResponseWriter, r *http.Request, p web.FaultPage) {
	w.Header().Set("Cache-Control", "no-store")
	if wantsProblem(r) {
		p.What, p.Try = capital(p.What), capital(p.Try)
		sendProblem(w, p)
		return
	}
	say := s.words(r.Context())
	p.What, p.Try = capital(say.Retell(p.What)), words.Sentence(say.Retell(p.Try))
	if err := s.send(w, r, p.Status, p); err != nil {
		http.Error(w, p.What, p.Status)
	}
}

func wantsProblem(r *http.Request) bool {
	return strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == "/healthz" || wantsJSON(r) && r.Method == http.MethodPost
}

// problem is an error as RFC 9457 describes it.
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail,omitempty"`
	ID     string `json:"id,omitempty"` // of the entry in the log
}

func sendProblem(w http.ResponseWriter, p web.FaultPage) {
	body, err := json.Marshal(problem{Type: "about:blank", Title: http.StatusText(p.Status), Status: p.Status,
		Detail: strings.TrimSuffix(p.What+". "+p.Try, " "), ID: p.ID})
	if err != nil {
		http.Error(w, p.What, p.Status)
		return
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	w.Write(append(body, '\n'))
}

func (s *server) unknownRoute(w http.ResponseWriter, r *http.Request) {
	s.refuse(w, r, http.StatusNotFound, &usage.Fault{What: "there is no page at this address"})
}

func (s *server) wrongMethod(w http.ResponseWriter, r *http.Request) {
	s.refuse(w, r, http.StatusMethodNotAllowed, &usage.Fault{What: "this address does not take the method " + r.Method})
}

// errorID returns a short random name for an entry in the log.
func errorID() string {
	var b [4]byte
	rand.Read(b[:]) // never fails, see crypto/rand
	return hex.EncodeToString(b[:])
}

// capital begins a sentence.
func capital(s string) string {
	if word := strings.IndexAny(s, " ="); s == "" || word > 0 && s[word] == '=' {
		return s // a parameter's name is written as it is
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func invalid(what, try string) error {
	return &usage.Fault{Kind: usage.Invalid, What: what, Try: try}
}

func notFound(what, try string) error {
	return &usage.Fault{Kind: usage.NotFound, What: what, Try: try}
}
