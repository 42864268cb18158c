package server

import (
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/go-chi/chi/v5"

	"doorleaf/usage"
	"doorleaf/web"
	"doorleaf/web/words"
)

func (s *server) routeSiteForm(r chi.Router) {
	r.Get("/sites/new", s.do(s.newForm))
	r.Post("/sites/new", s.do(s.addSite))
}

func (s *server) newForm(w http.ResponseWriter, r *http.Request) error {
	form := web.SiteForm{Clock: string(usage.ClockFixed), Zone: s.usualZone(r)}
	return s.sendSiteForm(w, r, http.StatusOK, "", form, nil)
}

// usualZone is the zone of the site added last, which the next one most likely
// shares.
func (s *server) usualZone(r *http.Request) string {
	sites, err := s.Store.Sites(r.Context())
	if err != nil || len(sites) == 0 {
		return ""
	}
	return sites[len(sites)-1].Zone
}

func (s *server) addSite(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	form, err := readSiteForm(w, r)
	if err != nil {
		return err
	}
	site, faults := siteFromForm(say, form)
	if !codePattern.MatchString(site.Code) {
		faults = append(web.FieldFaults{web.SiteFieldFault(say, "code")}, faults...)
	}
	if len(faults) == 0 {
		site.Thresholds = usage.DefaultThresholds
		err := s.Store.AddSite(r.Context(), site)
		switch usage.KindOf(err) {
		case usage.Conflict:
			faults = web.FieldFaults{{Field: "code", Says: web.CodeInUse(say, site.Code)}}
		case usage.Invalid:
			faults = web.FieldFaults{{Field: "code", Says: web.Problem(say, err)}}
		default:
			if err != nil {
				return err
			}
			return seeOther(w, r, "/sites/"+site.Code)
		}
	}
	return s.sendSiteForm(w, r, http.StatusBadRequest, "", form, faults)
}

func (s *server) changeForm(w http.ResponseWriter, r *http.Request) error {
	if q := r.URL.Query(); q.Has("join") {
		form := siteFormOf(q)
		_, faults := thresholdsFromForm(s.words(r.Context()), form)
		return s.sendSiteForm(w, r, http.StatusOK, siteOf(r).Code, form, faults)
	}
	site := siteOf(r)
	form := web.SiteForm{
		Code: site.Code, Name: site.Name, Zone: site.Zone,
		Latitude:  strconv.FormatFloat(site.Latitude, 'f', -1, 64),
		Longitude: strconv.FormatFloat(site.Longitude, 'f', -1, 64),
		Installed: site.InstalledOn.String(), Clock: string(site.Clock), DateOrder: site.Profile.DateOrder,
	}
	t := site.Thresholds
	form.Join, form.Rattle, form.Ajar = strconv.Itoa(int(t.JoinS)), strconv.Itoa(int(t.RattleS)), strconv.Itoa(int(t.AjarS))
	return s.sendSiteForm(w, r, http.StatusOK, site.Code, form, nil)
}

func (s *server) changeSite(w http.ResponseWriter, r *http.Request) error {
	say := s.words(r.Context())
	form, err := readSiteForm(w, r)
	if err != nil {
		return err
	}
	code := siteOf(r).Code
	site, faults := siteFromForm(say, form)
	thresholds := siteOf(r).Thresholds
	if r.PostForm.Has("join") {
		var wrong web.FieldFaults
		thresholds, wrong = thresholdsFromForm(say, form)
		faults = append(faults, wrong...)
	}
	if len(faults) > 0 {
		return s.sendSiteForm(w, r, http.StatusBadRequest, code, form, faults)
	}
	moreTime(w, slowWork)
	err = s.Store.ChangeSite(r.Context(), code, func(kept *usage.Site) error {
		kept.Name, kept.Latitude, kept.Longitude, kept.Zone = site.Name, site.Latitude, site.Longitude, site.Zone
		kept.InstalledOn, kept.Clock, kept.Profile.DateOrder = site.InstalledOn, site.Clock, site.Profile.DateOrder
		kept.Thresholds = thresholds
		return nil
	})
	if usage.KindOf(err) == usage.Invalid {
		return s.sendSiteForm(w, r, http.StatusBadRequest, code, form, web.FieldFaults{{Field: "name", Says: web.Problem(say, err)}})
	}
	if err != nil {
		return err
	}
	return seeOther(w, r, "/sites/"+code)
}

func (s *server) sendSiteForm(w http.ResponseWriter, r *http.Request, status int, code string, form web.SiteForm, faults web.FieldFaults) error {
	page := web.SiteFormPage{Code: code, Form: form, Faults: faults, Zones: zoneNames}
	page.Here = web.PlaceNewSite
	if code != "" {
		page.Here, page.Trail = "", web.TrailToSite(s.words(r.Context()), heading(siteOf(r).Site))
		var err error
		if page.Trial, err = s.trial(r, form); err != nil {
			return err
		}
	}
	return s.send(w, r, status, page)
}

// readSiteForm reads the fields as they were typed, trimmed.
func readSiteForm(w http.ResponseWriter, r *http.Request) (web.SiteForm, error) {
	if err := readForm(w, r); err != nil {
		return web.SiteForm{}, err
	}
	return siteFormOf(r.PostForm), nil
}

// siteFormOf takes the fields from a form or an address.
func siteFormOf(from url.Values) web.SiteForm {
	get := func(name string) string { return strings.TrimSpace(from.Get(name)) }
	return web.SiteForm{
		Code: strings.ToUpper(get("code")), Name: get("name"), Latitude: get("latitude"), Longitude: get("longitude"),
		Zone: get("zone"), Installed: get("installed"), Clock: get("clock"), DateOrder: get("order"),
		Join: get("join"), Rattle: get("rattle"), Ajar: get("ajar"),
	}
}

// readForm reads the fields of a form that carries no files.
func readForm(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, formBytes)
	if err := r.ParseForm(); err != nil {
		return &usage.Fault{Kind: kindOfBody(err), What: "the form could not be read", Err: err}
	}
	return nil
}

var codePattern = regexp.MustCompile(`^[A-Z0-9]{1,8}$`)

var dateOrders = map[string]bool{"": true, "dmy": true, "mdy": true, "ymd": true}

// siteFromForm checks every field, so that all faults show at once.
func siteFromForm(say *words.Words, f web.SiteForm) (usage.Site, web.FieldFaults) {
	var faults web.FieldFaults
	fault := func(field string) { faults = append(faults, web.SiteFieldFault(say, field)) }
	site := usage.Site{Code: f.Code, Name: f.Name, Zone: f.Zone, Clock: usage.ClockKeeping(f.Clock)}
	if f.Name == "" || utf8.RuneCountInString(f.Name) > 120 {
		fault("name")
	}
	var ok bool
	if site.Latitude, ok = degrees(f.Latitude, 90); !ok {
		fault("latitude")
	}
	if site.Longitude, ok = degrees(f.Longitude, 180); !ok {
		fault("longitude")
	}
	if _, err := usage.LoadZone(f.Zone); err != nil {
		fault("zone")
	}
	var err error
	if site.InstalledOn, err = usage.ParseDate(f.Installed); err != nil {
		fault("installed")
	}
	switch site.Clock {
	case usage.ClockFixed, usage.ClockCivil, usage.ClockUTC:
	default:
		fault("clock")
	}
	if site.Profile.DateOrder = f.DateOrder; !dateOrders[f.DateOrder] {
		fault("order")
	}
	return site, faults
}

// degrees reads an angle; a comma may stand for the point and − for the sign.
func degrees(s string, most float64) (float64, bool) {
	s = strings.NewReplacer(",", ".", "−", "-").Replace(s)
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsNaN(v) && math.Abs(v) <= most
}

// zoneNames are suggestions for the field; any IANA name is taken.
var zoneNames = []string{
	"Africa/Cairo", "Africa/Johannesburg", "Africa/Lagos", "Africa/Nairobi",
	"America/Chicago", "America/Denver", "America/Halifax", "America/Los_Angeles", "America/Mexico_City",
	"America/New_York", "America/Phoenix", "America/Santiago", "America/Sao_Paulo", "America/Toronto",
	"Asia/Hong_Kong", "Asia/Jerusalem", "Asia/Kolkata", "Asia/Seoul", "Asia/Singapore", "Asia/Tokyo",
	"Australia/Adelaide", "Australia/Brisbane", "Australia/Perth", "Australia/Sydney",
	"Europe/Amsterdam", "Europe/Athens", "Europe/Berlin", "Europe/Brussels", "Europe/Copenhagen", "Europe/Dublin",
	"Europe/Helsinki", "Europe/Lisbon", "Europe/London", "Europe/Madrid", "Europe/Oslo", "Europe/Paris",
	"Europe/Prague", "Europe/Rome", "Europe/Stockholm", "Europe/Vienna", "Europe/Warsaw", "Europe/Zurich",
	"Pacific/Auckland", "Pacific/Honolulu", "UTC",
}
