package server

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/chart"
	"doorleaf/web/report"
	"doorleaf/web/words"
)

func (s *server) routeReport(r chi.Router) {
	r.Get("/seasons/{season}/report.{format}", s.do(s.seasonReport))
}

// ReportFormat is what a season report may be written as.
type ReportFormat string

// The formats of a report.
const (
	ReportPDF  ReportFormat = "pdf"
	ReportXLSX ReportFormat = "xlsx"
	ReportCSV  ReportFormat = "csv"
	ReportHTML ReportFormat = "html" // one page for print
)

var reportTypes = map[ReportFormat]string{
	ReportPDF:  "application/pdf",
	ReportXLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	ReportCSV:  "text/csv; charset=utf-8",
	ReportHTML: "text/html; charset=utf-8",
}

// Report is how a season report is to be written.
type Report struct {
	Format   ReportFormat
	Paper    report.Paper           // of a PDF; "": A4
	Charts   *chart.Maker           // for PDF and HTML
	Progress func(done, all int)    // told how many pictures are drawn; may be nil
	Style    func() (string, error) // address of the style sheet of HTML; nil: the sheet is in the page
	Icon     string                 // address of the icon of HTML; "": none
}

// Check returns a usage.Fault for a report that cannot be written.
func (r Report) Check() error {
	if _, known := reportTypes[r.Format]; !known {
		return notFound(fmt.Sprintf("there is no report as %q", r.Format), "pdf, xlsx, csv or html")
	}
	if r.Paper != "" && r.Paper != report.A4 && r.Paper != report.Letter {
		return invalid(fmt.Sprintf("paper %q is not known", r.Paper), "a4 or letter")
	}
	return nil
}

// Write writes a season. Errors: those of Check, and a drawing that failed.
func (r Report) Write(ctx context.Context, w io.Writer, season report.Season) error {
	if err := r.Check(); err != nil {
		return err
	}
	drawing := report.Drawing{Charts: r.Charts, Progress: r.Progress}
	switch r.Format {
	case ReportPDF:
		paper := r.Paper
		if paper == "" {
			paper = report.A4
		}
		return report.WritePDF(ctx, w, season, paper, drawing)
	case ReportXLSX:
		return report.WriteXLSX(w, season)
	case ReportCSV:
		return report.WriteCSV(w, season)
	}
	style, err := r.style()
	if err != nil {
		return err
	}
	return report.WriteHTML(ctx, w, season, style, drawing)
}

func (r Report) style() (style report.Style, err error) {
	if r.Style != nil {
		style.Icon = r.Icon
		style.Href, err = r.Style()
		return style, err
	}
	style.Sheet, err = web.ReportStyle()
	return style, err
}

// seasonReport sends a season as a file, or as a page for print. A browser that has
// waited for a while is shown how far the report is, and asks again.
func (s *server) seasonReport(w http.ResponseWriter, r *http.Request) error {
	rep := Report{
		Format: ReportFormat(chi.URLParam(r, "format")), Paper: report.Paper(r.URL.Query().Get("paper")),
		Charts: s.Charts, Style: s.reportStyle, Icon: "/static/mark.svg",
	}
	if err := rep.Check(); err != nil {
		return err
	}
	name, code := chi.URLParam(r, "season"), r.URL.Query().Get("site")
	key := fmt.Sprintf("%s %q %s %s %v", name, code, rep.Format, rep.Paper, s.words(r.Context()).Region())
	job := s.reportJobs.join(r.Context(), key, func(ctx context.Context, progress func(done, all int)) ([]byte, error) {
		rep.Progress = progress
		return s.makeReport(ctx, rep, name, code)
	})
	done, err := job.finished(r, s.patience)
	if err != nil {
		return err
	}
	if !done {
		return s.sendMaking(w, r, name, job)
	}
	s.reportJobs.forget(key, job)
	if job.err != nil {
		return job.err
	}
	w.Header().Set("Content-Type", reportTypes[rep.Format])
	if rep.Format != ReportHTML {
		w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": reportFile(name, code, rep.Format)}))
	}
	sendBytes(w, r, http.StatusOK, job.body)
	return nil
}

// makeReport makes a report. One is made at a time, so that memory stays bounded.
func (s *server) makeReport(ctx context.Context, rep Report, name, code string) ([]byte, error) {
	select {
	case s.reports <- struct{}{}:
		defer func() { <-s.reports }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	season, err := SeasonReport(ctx, s.Store, s.Now, name, code)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = rep.Write(ctx, &b, season)
	return b.Bytes(), err
}

func (s *server) sendMaking(w http.ResponseWriter, r *http.Request, name string, job *reportJob) error {
	page := web.MakingPage{Name: name, Season: name, Done: job.done.Load(), All: job.all.Load()}
	if all, err := s.allSeasons(r.Context()); err == nil {
		if n, err := s.seasonNamed(name, all); err == nil {
			page.Season = s.words(r.Context()).Season(n.season)
		}
	}
	w.Header().Set("Refresh", "1")
	w.Header().Set("Cache-Control", "no-store")
	return s.send(w, r, http.StatusOK, page)
}

// reportStyle is the address of the style sheet of reports, with the tag of its bytes.
func (s *server) reportStyle() (string, error) {
	const name = "report.css"
	_, tag, err := s.pages.Static(name)
	if err != nil {
		return "", err
	}
	return "/static/" + name + "?v=" + tag, nil
}

// reportFile is the name of a report's file: doorleaf-2026-summer-MILL.pdf.
func reportFile(season, code string, format ReportFormat) string {
	if code != "" {
		code = "-" + code
	}
	return "doorleaf-" + season + code + "." + string(format)
}

// SeasonReport returns all that a season report says, for the whole network or,
// if code is not "", for one site. Errors: a name that is no season, or a site
// that is not there, as usage.Fault.
func SeasonReport(ctx context.Context, network Network, now func() time.Time, season, code string) (report.Season, error) {
	s := &server{Config: Config{Store: network, Now: now}}
	all, err := s.allSeasons(ctx)
	if err != nil {
		return report.Season{}, err
	}
	if code != "" {
		if _, err := network.Site(ctx, code); err != nil {
			return report.Season{}, err
		}
	}
	n, err := s.seasonNamed(season, all)
	if err != nil {
		return report.Season{}, err
	}
	out := figuresFor(n)
	out.Words = s.words(ctx)
	out.Title = out.Words.Season(n.season)
	out.OneSite = code != ""
	called, err := network.Network(ctx)
	if err != nil {
		return report.Season{}, err
	}
	out.Called = called.Name
	places := placesByCode(out.Words, n)
	out.Made = usage.DateOf(s.Now().UTC().Date())
	out.Sites = nil
	var months []usage.MonthTally
	for _, site := range n.sites {
		if code != "" && site.Code != code {
			continue
		}
		r, tallies, err := s.siteReport(ctx, site)
		if err != nil {
			return report.Season{}, fmt.Errorf("report on %s: %w", site.Code, err)
		}
		proposed, err := s.proposals(ctx, site.Site, site.season, s.Now())
		if err != nil {
			return report.Season{}, err
		}
		out.Proposals = append(out.Proposals, proposed...)
		if says := moveProposal(out.Words, site, n); says != "" {
			out.Proposals = append(out.Proposals, report.Proposal{Site: site.Code, Says: says})
		}
		r.Place = places[site.Code]
		out.Sites = append(out.Sites, r)
		months = append(months, tallies...)
	}
	if out.OneSite {
		if len(out.Sites) == 0 {
			return report.Season{}, notFound(fmt.Sprintf("site %s has no season %s in its half of the world", code, season), "Look at the list of seasons.")
		}
		out.Network = out.Sites[0].Figures
	}
	out.Pattern = usage.PatternOf("", nil, months)
	out.Sentence = report.Sentences(out)
	return out, nil
}

// placesByCode says where each site stands in the order of the network. It says
// nothing where the order means nothing.
func placesByCode(say *words.Words, n networkSeason) map[string]string {
	order, pooled := placesOf(n.sites)
	if pooled {
		return nil
	}
	places := make(map[string]string, len(order))
	for _, p := range order {
		places[p.Code] = p.Place(say)
	}
	return places
}

// siteReport is one site's part of a season report, with its tallies of the season.
func (s *server) siteReport(ctx context.Context, site siteFigures) (report.Site, []usage.MonthTally, error) {
	r := report.Site{Site: site.Site, Figures: site.figures}
	all, err := s.Store.Months(ctx, site.Code)
	if err != nil {
		return r, nil, err
	}
	months := usage.InSeason(all, site.season)
	r.Pattern = usage.PatternOf(site.Code, nil, months)
	if r.Days, err = s.Store.Days(ctx, site.Code, site.season.First(), site.season.Last()); err != nil {
		return r, nil, err
	}
	findings, err := s.Store.Findings(ctx, site.Code)
	if err != nil {
		return r, nil, err
	}
	for _, f := range findings {
		touches, err := touchingSeason(site.Site, []usage.Finding{f}, site.season)
		if err != nil {
			return r, nil, err
		}
		if touches > 0 {
			r.Findings = append(r.Findings, f)
		}
	}
	return r, months, s.addCalls(ctx, &r, site.season)
}

// addCalls enters the service calls and the coverage of the season.
func (s *server) addCalls(ctx context.Context, r *report.Site, season usage.Season) error {
	zone, err := usage.LoadZone(r.Zone)
	if err != nil {
		return err
	}
	from, to := zone.StartOfDay(season.First()), zone.StartOfDay(season.Last()+1)
	calls, err := s.Store.Calls(ctx, r.Code)
	if err != nil {
		return err
	}
	for _, c := range calls {
		if c.At >= from && c.At < to {
			r.Calls = append(r.Calls, c)
		}
	}
	detail, err := s.Store.Site(ctx, r.Code)
	if err != nil {
		return err
	}
	for _, st := range detail.Coverage {
		if st.From, st.To = max(st.From, from), min(st.To, to); st.From < st.To {
			r.Coverage = append(r.Coverage, st)
		}
	}
	return nil
}
