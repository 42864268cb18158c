// Package server turns HTTP requests into questions to the store and answers
// into pages, JSON and downloads. Nothing else knows HTTP.
//
// A handler decodes the request, asks, builds the page's struct and renders it
// into a buffer before a byte is sent; it returns an error, which one wrapper
// turns into a status and a page or, below /api/, into RFC 9457 problem
// details.
package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
)

// Network is what the server asks of a store; *store.Store is one.
type Network interface {
	Network(ctx context.Context) (usage.Network, error) // what it says of itself
	NetworkBefore(ctx context.Context, at int64) (usage.Network, error)
	SetNetwork(ctx context.Context, n usage.Network) error
	Sites(ctx context.Context) ([]store.SiteSummary, error)
	Site(ctx context.Context, code string) (store.SiteDetail, error)
	AddSite(ctx context.Context, site usage.Site) error
	ChangeSite(ctx context.Context, code string, change func(*usage.Site) error) error
	Keep(ctx context.Context, code string, cards []store.CardIn) ([]store.Receipt, error)
	Withdraw(ctx context.Context, id string) error
	Cards(ctx context.Context, code string) ([]store.Card, error)
	Card(ctx context.Context, id string) (store.Card, error)
	CardBytes(ctx context.Context, id string) ([]byte, error)
	Elsewhere(ctx context.Context, card store.CardIn) ([]store.Overlap, error)
	Days(ctx context.Context, code string, from, to usage.Date) ([]usage.Day, error)
	Months(ctx context.Context, code string) ([]usage.MonthTally, error)
	TryThresholds(ctx context.Context, code string, first, last usage.Date, limits ...usage.Thresholds) ([]usage.Trial, error)
	SeasonData(ctx context.Context, code string) (usage.SeasonData, error)
	Visits(ctx context.Context, code string, page store.VisitPage) ([]store.VisitRow, int64, store.VisitCount, error)
	VisitOpenings(ctx context.Context, code string, visit int32) ([]store.OpeningRow, error)
	Openings(ctx context.Context, code string, page store.Page) ([]store.OpeningRow, int64, error)
	Findings(ctx context.Context, code string) ([]usage.Finding, error)
	OpenFindings(ctx context.Context) (int, error)
	Rulings(ctx context.Context, code string) ([]usage.Ruling, error)
	Rule(ctx context.Context, code string, ruling usage.Ruling) error
	Unrule(ctx context.Context, code, key, by string) error
	Calls(ctx context.Context, code string) ([]usage.ServiceCall, error)
	AddCall(ctx context.Context, code string, call usage.ServiceCall) (int64, error)
	ChangeCall(ctx context.Context, code string, call usage.ServiceCall) (int64, error)
	DropCall(ctx context.Context, code string, id int64) error
	Removal(ctx context.Context, card string, at *int64, exact bool) error
	Merge(ctx context.Context, b *store.Bundle, answers store.MergeAnswers) (store.Merged, error)
	FillTray(ctx context.Context, cards []store.TrayCard) (string, error)
	AddToTray(ctx context.Context, tray string, cards []store.TrayCard) error
	TrayLoad(ctx context.Context, tray string) (cards int, bytes int64, err error)
	Tray(ctx context.Context, tray string) ([]store.TrayCard, error)
	TrayBytes(ctx context.Context, tray string, id int64) ([]byte, error)
	ThrowTray(ctx context.Context, tray string) error
	Outlook(ctx context.Context, code string) (store.Outlook, error)
	SetPower(ctx context.Context, code string, setting usage.PowerSetting) error
	DropPower(ctx context.Context, code string) error
	PowerHistory(ctx context.Context, code string) ([]store.KeptPower, error)
	ClockError(ctx context.Context, code string) (*usage.ClockError, error)
	AddCalls(ctx context.Context, calls []store.SiteCall) ([]int64, error)
	DropCalls(ctx context.Context, calls []store.SiteCall) error
	WithdrawnCalls(ctx context.Context, code string) ([]usage.ServiceCall, error)
	RestoreCall(ctx context.Context, code string, id int64) (int64, error)
	CardSetting(ctx context.Context, code string) (*usage.CardSetting, error)
	SetCardSetting(ctx context.Context, code string, setting *usage.CardSetting) error
	AddPrepared(ctx context.Context, code string, card store.PreparedCard) error
	Prepared(ctx context.Context, code string, since int64) ([]store.PreparedCard, error)
}

var _ Network = (*store.Store)(nil)

// Config is what a server is made of.
type Config struct {
	Store  Network
	Charts *chart.Maker     // nil: pages say that charts are missing
	Now    func() time.Time // the clock; time.Now where nil
	Log    *slog.Logger     // slog.Default() where nil
	Limits importer.Limits  // of one upload; importer.DefaultLimits where zero

	// Hosts are the values of the Host header that are answered, "name" for any
	// port or "name:port" for one. Other names are refused, so that no page of
	// another site can reach this one through a name that it controls (DNS
	// rebinding). Empty: the names of the loopback interface, any port. See
	// LoopbackHosts.
	Hosts []string

	// Access says who may do what; nil: Store itself, where it keeps that. Without
	// any, whoever reaches the server may do everything.
	Access Access

	// Remote: others than the person at the machine reach the server, and nobody
	// may do anything without a passphrase. Where it is false, that person is the
	// coordinator as long as no coordinating passphrase is set.
	Remote bool

	// BehindProxy: one proxy stands before the server, and its X-Forwarded-For and
	// X-Forwarded-Proto are believed. It makes the server Remote.
	BehindProxy bool

	// Readers counts the pages that are being made; nil: nobody else wants to know.
	Readers *Readers

	// Background is as long as drawings are made ahead of their readers; nil: never.
	Background context.Context

	// Templates is the folder of the package web, to reload its templates for
	// every page; "" uses those built in.
	Templates string
}

// server is a Config with what is made of it once.
type server struct {
	Config
	pages      *web.Set
	slips      slips
	uploads    chan struct{} // holds a token while an upload is read, so that memory stays bounded
	reports    chan struct{} // holds a token while a report is made
	reportJobs reportJobs
	patience   time.Duration // see reportPatience
	tries      tries
	stall      time.Duration // how long an upload may stand still
	large      *memo         // what was worked out of the sites and takes much memory: figures written, pages
	small      *memo         // and what takes little, so that there is room for that of all sites
}

// New returns the handler of the whole site. It fails when a template is
// broken or the configuration lacks a part.
func New(c Config) (http.Handler, error) {
	return newHandler(c, memory{largeBytes, smallBytes})
}

// memory bounds, in bytes, what is remembered.
type memory struct{ large, small int }

func newHandler(c Config, most memory) (http.Handler, error) {
	if c.Store == nil {
		return nil, errors.New("server: no store")
	}
	if c.Access == nil {
		c.Access, _ = c.Store.(Access)
	}
	if c.Remote = c.Remote || c.BehindProxy; c.Remote && c.Access == nil {
		return nil, errors.New("server: others reach it, and nothing says who may do what")
	}
	s := &server{Config: c.withDefaults(), uploads: make(chan struct{}, 1), reports: make(chan struct{}, 1), patience: reportPatience, tries: newTries(), stall: stallTime}
	numbered, _ := c.Store.(versioned)
	s.large, s.small = newMemo(numbered, most.large), newMemo(numbered, most.small)
	s.Store = remembering{c.Store, s.large, s.small}
	var err error
	if c.Templates == "" {
		s.pages, err = web.Load()
	} else {
		s.pages, err = web.LoadDir(c.Templates)
	}
	if err != nil {
		return nil, fmt.Errorf("server: %w", err)
	}
	if s.Background != nil && s.Charts != nil && numbered != nil {
		go s.ahead(s.Background)
	}
	return s.routes(), nil
}

func (c Config) withDefaults() Config {
	if c.Readers == nil {
		c.Readers = new(Readers)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	if c.Limits == (importer.Limits{}) {
		c.Limits = importer.DefaultLimits
	}
	if len(c.Hosts) == 0 {
		c.Hosts = loopbackNames
	}
	return c
}

// routes puts the guards around all features, and each feature's routes in.
func (s *server) routes() http.Handler {
	r := chi.NewRouter()
	r.Use(s.logged, s.reading, s.contained, harden, s.onlyHosts, s.sameOrigin, s.gate(r), wanting, s.oneLanguage)
	r.NotFound(s.unknownRoute)
	r.MethodNotAllowed(s.wrongMethod)
	s.routeStatic(r)
	s.routeNetwork(r)
	s.routeSetUp(r)
	s.routeSeasons(r)
	s.routeCompare(r)
	s.routeReport(r)
	s.routeDataOut(r)
	s.routeNetworkVisits(r)
	s.routeAbout(r)
	s.routeQuestions(r)
	s.routeSiteForm(r)
	s.routeBring(r)
	s.routeRound(r)
	s.routeBench(r)
	s.routeTray(r)
	s.routeMerge(r)
	s.routeCard(r)
	s.routeSite(r)
	s.routeAPI(r)
	s.routeAPIExamples(r)
	s.routeAccess(r)
	return r
}

// HTTP returns a server with time limits that keep slow clients from holding
// connections. Uploads get more time for themselves.
func HTTP(h http.Handler) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      2 * time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
	}
}

var loopbackNames = []string{"localhost", "127.0.0.1", "::1"}

// LoopbackHosts returns the Hosts of a server that listens on a loopback
// address: its three names with the port.
func LoopbackHosts(addr net.Addr) []string {
	_, port, err := net.SplitHostPort(addr.String())
	if err != nil {
		return loopbackNames
	}
	var hosts []string
	for _, name := range loopbackNames {
		hosts = append(hosts, net.JoinHostPort(name, port))
	}
	return hosts
}
