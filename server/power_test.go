package server

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"doorleaf/usage"
	"doorleaf/web"
)

func lead(t *testing.T, a answer) string {
	t.Helper()
	if a.status != 200 {
		t.Fatalf("page = %d, want 200", a.status)
	}
	return strings.Join(texts(a.page(t), ".lead"), "")
}

// Set the pack by the form, read what follows, change it, use an earlier setting again,
// and take it back.
func TestPowerFromFormToPage(t *testing.T) {
	b, _ := usualBox(t)
	if got := lead(t, b.get("/sites/MILL/power")); !strings.Contains(got, "once the pack") {
		t.Errorf("power without a setting says %q", got)
	}
	form := fieldsOf(find(b.get("/sites/MILL/power/change").page(t), "form.fields")[0])
	form.Set(web.FieldCapacity, "1900,5")
	form.Set("memory", "eeprom")
	if a := b.post("/sites/MILL/power/change", form); a.status != 303 || a.header.Get("Location") != "/sites/MILL/power" {
		t.Fatalf("set = %d, want 303 to the page\n%s", a.status, texts(a.page(t), ".trouble"))
	}
	page := b.get("/sites/MILL/power").page(t)
	said := strings.Join(texts(page, "main"), " ")
	for _, want := range []string{"batteries", "1900.5 mAh", "set here", "from memory", "button cell", "28 h", "Change the coin cell of the clock by"} {
		if !strings.Contains(said, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	again := fieldsOf(find(b.get("/sites/MILL/power/change?pack=9v-alkaline&coin=48mah").page(t), "form.fields")[0])
	if again.Get(web.FieldCapacity) != "550" || again.Get(web.FieldCoin) != "48" || again.Get(web.FieldActive) != form.Get(web.FieldActive) {
		t.Errorf("the form with presets has %v, want their capacities and the draw as it was", again)
	}
	if a := b.post("/sites/MILL/power/change", again); a.status != 303 {
		t.Fatalf("set again = %d, want 303", a.status)
	}
	earlier := find(b.get("/sites/MILL/power/change").page(t), ".receipts a")
	if len(earlier) != 1 {
		t.Fatalf("%d earlier settings to use again, want 1", len(earlier))
	}
	if got := fieldsOf(find(b.get(attr(earlier[0], "href")).page(t), "form.fields")[0]).Get(web.FieldCapacity); got != "1900.5" {
		t.Errorf("the form with an earlier setting has a capacity of %q, want 1900.5", got)
	}
	if a := b.post("/sites/MILL/power/withdraw", url.Values{}); a.status != 303 {
		t.Fatalf("withdraw = %d, want 303", a.status)
	}
	if got := lead(t, b.get("/sites/MILL/power")); !strings.Contains(got, "once the pack") {
		t.Errorf("power after withdrawal says %q", got)
	}
}

func TestPowerFormFaults(t *testing.T) {
	b, _ := usualBox(t)
	good := fieldsOf(find(b.get("/sites/MILL/power/change").page(t), "form.fields")[0])
	for _, tt := range []struct{ name, field, value, marked string }{
		{"no number", web.FieldActive, "a lot", web.FieldActive},
		{"empty", web.FieldSelf, "", web.FieldSelf},
		{"infinite", web.FieldStart, "Inf", web.FieldStart},
		{"no memory", "memory", "clay", "memory"},
		{"no date", "since", "soon", "since"},
		{"no sense", web.FieldUsable, "800", web.FieldCapacity},
	} {
		t.Run(tt.name, func(t *testing.T) {
			form := url.Values{}
			for k, v := range good {
				form[k] = v
			}
			form.Set(tt.field, tt.value)
			a := b.post("/sites/MILL/power/change", form)
			if a.status != 400 {
				t.Fatalf("set = %d, want 400", a.status)
			}
			links := find(a.page(t), ".trouble a")
			if len(links) != 1 || attr(links[0], "href") != "#"+tt.marked {
				t.Errorf("faults = %q, want one at %s", texts(a.page(t), ".trouble"), tt.marked)
			}
			if n := len(find(a.page(t), "#"+tt.marked)); n != 1 {
				t.Errorf("%d fields %s, want 1", n, tt.marked)
			}
		})
	}
}

// Each page answers its question in its first sentence, whatever was asked.
func TestOutlookPages(t *testing.T) {
	b, _ := usualBox(t)
	for _, tt := range []struct{ address, says string }{
		{"/sites/MILL/light", "light would"},
		{"/sites/QUAY/light", "Cannot tell yet"},
		{"/sites/MILL/light?ma=30&after=45&need=1&weeks=2&always=yes", "light would"},
		{"/sites/MILL/restock", "the bus"},
		{"/sites/QUAY/restock", "Too little"},
		{"/sites/MILL/restock?hours=2&weeks=520", "the bus"},
		{"/sites/MILL/restock?hours=99&weeks=x", "the bus"},
		{"/sites/MILL/daylight", "of a hundred visits come after dark"},
		{"/sites/MILL/daylight?year=2026", "of a hundred visits come after dark"},
		{"/sites/MILL/daylight?year=99999", "of a hundred visits come after dark"},
		{"/sites/QUAY/daylight", "No visit"},
	} {
		if got := lead(t, b.get(tt.address)); !strings.Contains(got, tt.says) {
			t.Errorf("GET %s says %q, want it to hold %q", tt.address, got, tt.says)
		}
	}
	if a := b.get("/sites/MILL/light?ma=much"); a.status != 400 || len(find(a.page(t), ".trouble a[href=#ma]")) != 1 {
		t.Errorf("GET light with a current of much = %d, want 400 and the field marked", a.status)
	}
	if a := b.get("/api/sites/MILL/light?need=-1"); a.status != 400 {
		t.Errorf("GET api light with a need of -1 = %d, want 400", a.status)
	}
}

// The answers hold what the description names, with a setting and without.
func TestOutlookJSON(t *testing.T) {
	b, _ := usualBox(t)
	var doc struct {
		Components struct {
			Schemas map[string]struct {
				Properties map[string]json.RawMessage `json:"properties"`
			} `json:"schemas"`
		} `json:"components"`
	}
	if err := json.Unmarshal(openAPI, &doc); err != nil {
		t.Fatal(err)
	}
	same := func(schema, path string) map[string]json.RawMessage {
		t.Helper()
		got := decode[map[string]json.RawMessage](t, b.get(path))
		want := doc.Components.Schemas[schema].Properties
		for name := range want {
			if got[name] == nil {
				t.Errorf("GET %s lacks %s", path, name)
			}
		}
		if len(got) != len(want) {
			t.Errorf("GET %s has %d fields, want %d", path, len(got), len(want))
		}
		return got
	}
	if got := same("Power", "/api/sites/MILL/power"); string(got["empty"]) != "null" {
		t.Errorf("empty without a setting = %s, want null", got["empty"])
	}
	setting := usage.NewPowerSetting()
	setting.Counter.Memory = usage.CounterEEPROM
	if err := b.store.SetPower(t.Context(), "MILL", setting); err != nil {
		t.Fatal(err)
	}
	got := same("Power", "/api/sites/MILL/power")
	var r usage.DateRange
	if err := json.Unmarshal(got["empty"], &r); err != nil || r.Low == nil || r.Level != usage.Confidence {
		t.Errorf("empty = %s, %v, want a range", got["empty"], err)
	}
	same("Light", "/api/sites/MILL/light")
}
