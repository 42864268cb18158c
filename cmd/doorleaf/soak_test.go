//go:build unix

package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// person is somebody with a browser. Their pages never follow a redirect by themselves.
type person struct {
	address string
	client  *http.Client
}

func newPerson(address string, jar http.CookieJar) *person {
	return &person{address: address, client: &http.Client{
		Jar: jar, Timeout: 2 * time.Minute,
		Transport:     &http.Transport{MaxIdleConnsPerHost: 4},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// httpAnswer is what came back. A connection that broke has status 0.
type httpAnswer struct {
	status   int
	location string
	body     string
}

func (p *person) do(method, path, kind string, body io.Reader) httpAnswer {
	r, err := http.NewRequest(method, p.address+path, body)
	if err != nil {
		return httpAnswer{body: err.Error()}
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	res, err := p.client.Do(r)
	if err != nil {
		return httpAnswer{body: err.Error()}
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		return httpAnswer{body: err.Error()}
	}
	return httpAnswer{res.StatusCode, res.Header.Get("Location"), string(text)}
}

func (p *person) get(path string) httpAnswer { return p.do("GET", path, "", nil) }

func (p *person) post(path string, form url.Values) httpAnswer {
	return p.do("POST", path, "application/x-www-form-urlencoded", strings.NewReader(form.Encode()))
}

var trayKey = regexp.MustCompile(`name="keep-([0-9]+)"`)

// bring uploads a card and keeps it under a site, as a person does it. It returns what
// was answered last, which is 303 where all went well.
func (p *person) bring(site, name string, data []byte) httpAnswer {
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {fmt.Sprintf(`form-data; name="files"; filename="%s"`, name)}})
	if err != nil {
		return httpAnswer{body: err.Error()}
	}
	part.Write(data)
	form.Close()
	up := p.do("POST", "/cards", form.FormDataContentType(), &body)
	if up.status != 303 {
		return up
	}
	tray := p.get(up.location)
	yes := url.Values{}
	for _, key := range trayKey.FindAllStringSubmatch(tray.body, -1) {
		yes.Set("keep-"+key[1], "yes")
		yes.Set("site-"+key[1], site)
		yes.Set("sure-"+key[1], "yes")
		yes.Set("order-"+key[1], "ymd")
	}
	if len(yes) == 0 {
		return tray
	}
	return p.post(up.location+"/keep", yes)
}

// times are how long pages took.
type times []time.Duration

// at is the smallest time within which a share of all came.
func (t times) at(share float64) time.Duration {
	if len(t) == 0 {
		return 0
	}
	slices.Sort(t)
	return t[min(len(t)-1, int(math.Ceil(share*float64(len(t))))-1)].Round(100 * time.Microsecond)
}

// soakTable prints rows under a head, its columns aligned.
func soakTable(t *testing.T, rows [][]string) {
	t.Helper()
	wide := make([]int, len(rows[0]))
	for _, r := range rows {
		for i, cell := range r {
			wide[i] = max(wide[i], len([]rune(cell)))
		}
	}
	var b strings.Builder
	for _, r := range rows {
		b.WriteByte('\n')
		for i, cell := range r {
			pad := strings.Repeat(" ", wide[i]-len([]rune(cell)))
			if i == 0 {
				b.WriteString(cell + pad)
			} else {
				b.WriteString("  " + pad + cell)
			}
		}
	}
	t.Log(b.String())
}
