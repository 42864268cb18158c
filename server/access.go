package server

import (
	"context"
	"errors"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
)

// Access is what the server asks of who may do what; *store.Store is one.
type Access interface {
	Access(ctx context.Context) (store.Access, error)
	OpenReading(ctx context.Context, open bool) error
	SignIn(ctx context.Context, phrase, who string) (string, store.Session, error)
	Session(ctx context.Context, token string) (store.Session, bool, error)
	Sessions(ctx context.Context) ([]store.Session, error)
	SignOut(ctx context.Context, token string) error
	EndSession(ctx context.Context, id int64) error
	EndSessions(ctx context.Context) (int64, error)
	Journal(ctx context.Context, before int64, limit int) ([]store.Entry, bool, error)
}

var _ Access = (*store.Store)(nil)

// need is what a route asks of who calls it, the least first.
type need uint8

const (
	needNothing need = iota
	needReading
	needReports
	needCoordinating
)

// needs says what each route needs, by method and pattern; HEAD goes as GET. What
// is not here needs the coordinating role: a route that was forgotten is closed.
var needs = map[string]need{
	"GET /healthz":  needNothing,
	"GET /static/*": needNothing,

	"GET " + signInAddress:  needNothing,
	"POST " + signInAddress: needNothing,
	"POST /sign-out":        needNothing,

	"GET /":                                        needReading,
	"GET /visits":                                  needReading,
	"GET /seasons":                                 needReading,
	"GET /seasons/{season}":                        needReading,
	"GET /questions":                               needReading,
	"GET /about-the-numbers":                       needReading,
	"GET /api":                                     needReading,
	"GET /sites/{code}":                            needReading,
	"GET /sites/{code}/cards":                      needReading,
	"GET /sites/{code}/openings":                   needReading,
	"GET /sites/{code}/visits":                     needReading,
	"GET /sites/{code}/visits/{visit:[0-9]+}":      needReading,
	"GET /sites/{code}/openings/{position:[0-9]+}": needReading,
	"GET /sites/{code}/about-the-numbers":          needReading,
	"GET /sites/{code}/questions":                  needReading,
	"GET /sites/{code}/calls":                      needReading,
	"GET /sites/{code}/power":                      needReading,
	"GET /sites/{code}/light":                      needReading,
	"GET /sites/{code}/restock":                    needReading,
	"GET /sites/{code}/daylight":                   needReading,
	"GET /cards/{id:[0-9a-f]{64}}":                 needReading,

	"GET /api/openapi.json":          needReading,
	"GET /api/sites":                 needReading,
	"GET /api/sites/{code}":          needReading,
	"GET /api/sites/{code}/pattern":  needReading,
	"GET /api/sites/{code}/days":     needReading,
	"GET /api/sites/{code}/openings": needReading,
	"GET /api/sites/{code}/visits":   needReading,
	"GET /api/sites/{code}/findings": needReading,
	"GET /api/seasons/{season}":      needReading,
	"GET /api/sites/{code}/light":    needReading,
	"GET /api/sites/{code}/power":    needReading,
	"GET /round":                     needReading,
	"GET /compare":                   needReading,
	"GET /round.ics":                 needReading,
	"GET /api/visits":                needReading,

	"GET /cards/{id:[0-9a-f]{64}}/file":     needReports,
	"GET /data-out":                         needReading,
	"GET /data-out/file":                    needReports,
	"GET /seasons/{season}/report.{format}": needReports,
}

// visitor is who sends a request.
type visitor struct {
	may     need
	session *store.Session // nil: not signed in
	unset   bool           // there is no coordinating passphrase to sign in with
}

type visitorKey struct{}

// visitorOf returns who sends a request; one that did not come past the gate is
// nobody's.
func visitorOf(r *http.Request) (v visitor, known bool) {
	v, known = r.Context().Value(visitorKey{}).(visitor)
	return v, known
}

// gate lets a request pass to its route when who sends it may do what the route
// needs. It asks the router itself which route that is, and pins the path that it
// asked about, so that the two cannot see a request in different ways.
func (s *server) gate(routes chi.Routes) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			needed, who := needOf(routes, r)
			if !who {
				next.ServeHTTP(w, r)
				return
			}
			v, err := s.visitor(r)
			if err != nil {
				s.fail(w, r, err)
				return
			}
			ctx := context.WithValue(r.Context(), visitorKey{}, v)
			r = r.WithContext(store.WithActor(ctx, v.actor()))
			if v.may < needed {
				s.turnAway(w, r, v, needed)
				return
			}
			next.ServeHTTP(w, r)
		})
	}
}

// needOf returns what the route of a request needs. who is false where it does
// not matter who asks: for static files and the check of health.
func needOf(routes chi.Routes, r *http.Request) (needed need, who bool) {
	at := chi.RouteContext(r.Context())
	if at.RoutePath == "" {
		at.RoutePath = r.URL.RawPath
	}
	if at.RoutePath == "" {
		at.RoutePath = r.URL.Path
	}
	if at.RoutePath == "" {
		at.RoutePath = "/"
	}
	if at.RouteMethod = r.Method; r.Method == http.MethodHead {
		at.RouteMethod = http.MethodGet // net/http leaves the body out
	}
	pattern := routes.Find(chi.NewRouteContext(), at.RouteMethod, at.RoutePath)
	if pattern == "" {
		return needNothing, true // there is no such route
	}
	key := routeKey(at.RouteMethod, pattern)
	needed, named := needs[key]
	if !named {
		return needCoordinating, true
	}
	return needed, key != "GET /static/*" && key != "GET /healthz"
}

// routeKey names a route in needs.
func routeKey(method, pattern string) string {
	if pattern != "/" {
		pattern = strings.TrimSuffix(strings.ReplaceAll(pattern, "/*/", "/"), "/")
	}
	return method + " " + pattern
}

// visitor finds out who sends a request.
func (s *server) visitor(r *http.Request) (visitor, error) {
	if s.Access == nil {
		return visitor{may: needCoordinating}, nil // see New
	}
	access, err := s.Access.Access(r.Context())
	if err != nil {
		return visitor{}, err
	}
	v := visitor{unset: !access.Has(store.RoleCoordinating)}
	if v.unset && !s.Remote && !forwarded(r) {
		v.may = needCoordinating // the person at the machine
		return v, nil
	}
	if access.ReadingOpen {
		v.may = needReading
	}
	token := s.tokenOf(r)
	if token == "" {
		return v, nil
	}
	session, ok, err := s.Access.Session(r.Context(), token)
	if err != nil || !ok {
		return v, err
	}
	v.session = &session
	v.may = max(v.may, needOfRole(session.Role))
	return v, nil
}

func needOfRole(role store.Role) need {
	switch role {
	case store.RoleReading:
		return needReading
	case store.RoleReports:
		return needReports
	case store.RoleCoordinating:
		return needCoordinating
	}
	return needNothing
}

// actor is how the journal names a visitor.
func (v visitor) actor() store.Actor {
	if v.session != nil {
		return v.session.Actor()
	}
	return store.Actor{Role: store.AtTheMachine}
}

// forwarded reports whether a request came through a proxy, which a server for
// the person at the machine does not expect: others may stand behind it.
func forwarded(r *http.Request) bool {
	for _, name := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip", "Via"} {
		if len(r.Header.Values(name)) > 0 {
			return true
		}
	}
	return false
}

// turnAway answers who may not do what they asked for. Who is not signed in and
// wants a page is sent to sign in first.
func (s *server) turnAway(w http.ResponseWriter, r *http.Request, v visitor, needed need) {
	reads := r.Method == http.MethodGet || r.Method == http.MethodHead
	if v.session == nil && reads && !wantsProblem(r) {
		address := signInAddress
		if here := r.URL.RequestURI(); here != "/" {
			address += "?to=" + url.QueryEscape(here)
		}
		seeOther(w, r, address)
		return
	}
	if v.session == nil {
		w.Header().Set("WWW-Authenticate", `Session realm="Doorleaf"`) // RFC 9110, section 15.5.2, asks for one
		s.refuse(w, r, http.StatusUnauthorized, &usage.Fault{What: "nobody is signed in, or the session has ended", Try: "Sign in at " + signInAddress + " and do it again."})
		return
	}
	what := "this takes the passphrase of the coordinators"
	if needed == needReports {
		what = "this takes the passphrase for reports"
	}
	s.refuse(w, r, http.StatusForbidden, &usage.Fault{What: what, Try: "You are signed in for " + string(v.session.Role) + ". Sign in at " + signInAddress + " with the other one."})
}

// navFor adds to the navigation who is signed in, and takes away what they may
// not see.
func navFor(r *http.Request, nav web.Nav) web.Nav {
	v, known := visitorOf(r)
	if !known {
		return web.Nav{}
	}
	nav.May = [...]web.May{needNothing: web.MayNothing, needReading: web.MayRead, needReports: web.MayReport, needCoordinating: web.MayAll}[v.may]
	switch {
	case v.may < needReading:
		nav.Questions = 0
	case v.session != nil:
		nav.Who = v.session.Who
	}
	nav.SignIn = v.session == nil && v.may < needCoordinating
	return nav
}

// signer is the name under which a visitor answers: the one given at sign-in, or,
// for the person at the machine, the one in the form.
func signer(r *http.Request, form url.Values) string {
	if v, _ := visitorOf(r); v.session != nil {
		return v.session.Who
	}
	return form.Get("by")
}

func (s *server) routeAccess(r chi.Router) {
	s.routeSignIn(r)
	s.routeJournal(r)
	r.Get("/access", s.do(s.accessPage))
	r.Post("/access/reading", s.do(s.openReading))
	r.Post("/access/sign-out-everyone", s.do(s.endSessions))
	r.Post("/access/sessions/{session:[0-9]{1,18}}/end", s.do(s.endSession))
}

// errNoAccess is for a server whose store keeps no passphrases.
var errNoAccess = errors.New("this store keeps no passphrases")

// accessPage shows who has a passphrase and who is signed in.
func (s *server) accessPage(w http.ResponseWriter, r *http.Request) error {
	if s.Access == nil {
		return errNoAccess
	}
	access, err := s.Access.Access(r.Context())
	if err != nil {
		return err
	}
	sessions, err := s.Access.Sessions(r.Context())
	if err != nil {
		return err
	}
	zone, err := s.networkZone(r.Context())
	if err != nil {
		return err
	}
	page := web.AccessPage{ReadingOpen: access.ReadingOpen, Zone: zone, Local: !s.Remote}
	for _, role := range store.Roles() {
		state := web.RoleState{Role: string(role)}
		if at, ok := access.SetAt[role]; ok {
			state.SetAt = &at
		}
		page.Roles = append(page.Roles, state)
	}
	v, _ := visitorOf(r)
	for _, one := range sessions {
		page.Sessions = append(page.Sessions, web.SessionRow{
			ID: one.ID, Who: one.Who, Role: string(one.Role), Begun: one.Begun, Seen: one.Seen, Mine: v.session != nil && v.session.ID == one.ID,
		})
	}
	return s.send(w, r, http.StatusOK, page)
}

func (s *server) openReading(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(w, r); err != nil {
		return err
	}
	open := r.PostForm.Get("open")
	if open != "yes" && open != "no" {
		return invalid("the form does not say whether to open reading or to close it", "use the page's own button")
	}
	if err := s.Access.OpenReading(r.Context(), open == "yes"); err != nil {
		return err
	}
	return seeOther(w, r, "/access")
}

func (s *server) endSession(w http.ResponseWriter, r *http.Request) error {
	id, err := strconv.ParseInt(chi.URLParam(r, "session"), 10, 64)
	if err != nil {
		return notFound("there is no such session", "")
	}
	if err := s.Access.EndSession(r.Context(), id); err != nil {
		return err
	}
	return seeOther(w, r, "/access")
}

func (s *server) endSessions(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.Access.EndSessions(r.Context()); err != nil {
		return err
	}
	return seeOther(w, r, "/access")
}

// networkZone is the time zone in which pages of the whole network tell times:
// that of the first site, UTC without any.
func (s *server) networkZone(ctx context.Context) (string, error) {
	sites, err := s.Store.Sites(ctx)
	if err != nil || len(sites) == 0 {
		return "UTC", err
	}
	return sites[0].Zone, nil
}

// caller is the address that a request comes from, without its port. Behind a
// proxy it is the last one of X-Forwarded-For, which that proxy wrote; those
// before it are the caller's own words.
func (s *server) caller(r *http.Request) string {
	if s.BehindProxy {
		all := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
		if ip := net.ParseIP(strings.TrimSpace(all[len(all)-1])); ip != nil {
			return ip.String()
		}
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// overTLS reports whether a request came encrypted, as far as can be told.
func (s *server) overTLS(r *http.Request) bool {
	return r.TLS != nil || s.BehindProxy && strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https")
}
