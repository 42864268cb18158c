package server

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/httprate"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
)

const signInAddress = "/sign-in"

// signInBytes is the limit of the form of sign-in: strangers may send it.
const signInBytes = 16 << 10

// How often somebody may try a passphrase: from one address, and all together.
// Common practice, no source. At the second rate a guesser makes some five
// million tries a year, against 10^15 phrases of four words out of a list of 6,000.
const (
	triesEach  = 10
	triesAll   = 100
	triesEvery = 10 * time.Minute
)

// tries bounds the guessing of passphrases.
type tries struct{ each, all *httprate.RateLimiter }

func newTries() tries {
	only := httprate.WithResponseHeaders(httprate.ResponseHeaders{RetryAfter: "Retry-After"})
	return tries{
		each: httprate.NewRateLimiter(triesEach, triesEvery, only),
		all:  httprate.NewRateLimiter(triesAll, triesEvery, only),
	}
}

// over counts a try and reports whether it is one too many; then it has set
// Retry-After.
func (t tries) over(w http.ResponseWriter, r *http.Request, address string) bool {
	return t.each.OnLimit(w, r, httprate.CanonicalizeIP(address)) || t.all.OnLimit(w, r, "all")
}

func (s *server) routeSignIn(r chi.Router) {
	r.Get(signInAddress, s.do(s.signInForm))
	r.Post(signInAddress, s.do(s.signIn))
	r.Post("/sign-out", s.do(s.signOut))
}

func (s *server) signInForm(w http.ResponseWriter, r *http.Request) error {
	return s.sendSignIn(w, r, http.StatusOK, web.SignInPage{To: localAddress(r.URL.Query().Get("to"))})
}

func (s *server) sendSignIn(w http.ResponseWriter, r *http.Request, status int, page web.SignInPage) error {
	v, _ := visitorOf(r)
	page.Unset, page.Remote = v.unset, s.Remote
	page.Plain = s.Remote && !s.overTLS(r)
	w.Header().Set("Cache-Control", "no-store")
	return s.send(w, r, status, page)
}

// signIn takes a name and a passphrase and begins a session.
func (s *server) signIn(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	r.Body = http.MaxBytesReader(w, r.Body, signInBytes)
	if err := readForm(w, r); err != nil {
		return err
	}
	page := web.SignInPage{Who: strings.TrimSpace(r.PostForm.Get("who")), To: localAddress(r.PostForm.Get("to"))}
	if page.Who == "" {
		page.Faults = append(page.Faults, web.FieldFault{Field: "who", Says: say.Say(web.WhoMissing)})
	}
	if r.PostForm.Get("passphrase") == "" {
		page.Faults = append(page.Faults, web.FieldFault{Field: "passphrase", Says: say.Say(web.PassphraseMissing)})
	}
	if len(page.Faults) > 0 {
		return s.sendSignIn(w, r, http.StatusBadRequest, page)
	}
	if s.Access == nil {
		return errNoAccess
	}
	if s.tries.over(w, r, s.caller(r)) {
		s.Log.Warn("too many tries of a passphrase", "from", s.caller(r))
		page.Faults = web.FieldFaults{{Field: "passphrase", Says: say.Say(web.TooManyTries)}}
		return s.sendSignIn(w, r, http.StatusTooManyRequests, page)
	}
	token, session, err := s.Access.SignIn(r.Context(), r.PostForm.Get("passphrase"), page.Who)
	switch {
	case usage.KindOf(err) == usage.Invalid:
		page.Faults = web.FieldFaults{{Field: "who", Says: say.Say(web.WhoMissing)}}
		return s.sendSignIn(w, r, http.StatusBadRequest, page)
	case err != nil:
		return err
	case token == "":
		s.Log.Warn("a passphrase that is nobody's", "from", s.caller(r), "who", page.Who)
		page.Faults = web.FieldFaults{{Field: "passphrase", Says: say.Say(web.PassphraseWrong)}}
		return s.sendSignIn(w, r, http.StatusForbidden, page)
	}
	if old := s.tokenOf(r); old != "" {
		if err := s.Access.SignOut(store.WithActor(r.Context(), session.Actor()), old); err != nil {
			return err
		}
	}
	s.setToken(w, r, token, time.Unix(session.Begun, 0).AddDate(1, 0, 0))
	return seeOther(w, r, page.To)
}

func (s *server) signOut(w http.ResponseWriter, r *http.Request) error {
	if token := s.tokenOf(r); token != "" && s.Access != nil {
		if err := s.Access.SignOut(r.Context(), token); err != nil {
			return err
		}
	}
	s.setToken(w, r, "", time.Time{})
	w.Header().Set("Clear-Site-Data", `"cache"`) // a page that somebody else must not find by going back
	return seeOther(w, r, signInAddress)
}

// cookieName is the name of the session's cookie. Where the connection is
// encrypted its prefix makes browsers refuse one that another host, or a page
// without encryption, has set (RFC 6265bis, section 4.1.3.2).
func (s *server) cookieName(r *http.Request) string {
	if s.overTLS(r) {
		return "__Host-doorleaf"
	}
	return "doorleaf"
}

// tokenOf is the token of a request's session, "" without one.
func (s *server) tokenOf(r *http.Request) string {
	c, err := r.Cookie(s.cookieName(r))
	if err != nil {
		return ""
	}
	return c.Value
}

// setToken gives the browser a session's token, or takes it away where it is "".
// The session ends on the server; the cookie only has to outlast it.
func (s *server) setToken(w http.ResponseWriter, r *http.Request, token string, until time.Time) {
	c := &http.Cookie{
		Name: s.cookieName(r), Value: token, Path: "/", HttpOnly: true, Secure: s.overTLS(r),
		SameSite: http.SameSiteLaxMode, Expires: until,
	}
	if token == "" {
		c.MaxAge = -1
	}
	http.SetCookie(w, c)
}

// localAddress returns an address of this server that somebody may be sent on to,
// and the first page for any other.
func localAddress(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || !strings.HasPrefix(to, "/") ||
		strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\t\r\n") || u.Path == signInAddress {
		return "/"
	}
	return to
}
