package server

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http/httptest"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"doorleaf/importer"
	"doorleaf/store"
	"doorleaf/web/chart"
)

// fuzzLimits bound uploads in the fuzz target.
var fuzzLimits = importer.Limits{CardBytes: 1000, TotalBytes: 2500, Files: 8}

// formBody is the body of an upload of files, with the boundary b.
func formBody(tb testing.TB, files ...file) []byte {
	tb.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	form.SetBoundary("b")
	for _, f := range files {
		part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {fmt.Sprintf(`form-data; name="files"; filename="%s"`, f.path)}})
		if err != nil {
			tb.Fatal(err)
		}
		part.Write(f.bytes)
	}
	form.Close()
	return body.Bytes()
}

// FuzzUpload sends any bytes as the body of an upload. It is taken, or refused as the
// sender's fault; what is taken lies on a tray within the limits, by names that lead
// nowhere, and no file is left anywhere.
func FuzzUpload(f *testing.F) {
	temp := f.TempDir()
	f.Setenv("TMPDIR", temp)
	data := f.TempDir()
	st, err := store.Open(f.Context(), data, store.Options{Now: func() time.Time { return noon }})
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { st.Close() })
	h, err := New(Config{Store: st, Charts: chart.New(ruler{}), Now: func() time.Time { return noon }, Limits: fuzzLimits, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		f.Fatal(err)
	}
	row := []byte("2026-03-01 10:00:00,5\n")
	f.Add(formBody(f, file{"LOG.TXT", row}))
	f.Add(formBody(f, file{"../../x/LOG.TXT", row}, file{"..\\DOORLEAF.TXT", []byte("site MILL\n")}, file{"photo.jpg", row}))
	f.Add(formBody(f, file{"x.zip", packed(f, map[string][]byte{"../../etc/LOG.TXT": row, "a/DOORLEAF.TXT": []byte("site MILL"), "a/LOG.TXT": row, "b.zip": row})}))
	f.Add(formBody(f, file{"x.zip", packed(f, map[string][]byte{"LOG.TXT": make([]byte, 900), "2.TXT": make([]byte, 900), "3.TXT": make([]byte, 900)})}))
	f.Add(bytes.Repeat([]byte("--b\r\n\r\n\r\n"), 120))
	f.Add([]byte("--b\r\nContent-Disposition: form-data; filename*=UTF-8''%2e%2e%2fx.txt\r\n\r\nx\r\n--b--"))
	f.Fuzz(func(t *testing.T, body []byte) {
		r := httptest.NewRequest("POST", "/cards", bytes.NewReader(body))
		r.Header.Set("Content-Type", "multipart/form-data; boundary=b")
		r.Host = "localhost"
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		switch w.Code {
		case 303:
			checkTray(t, st, strings.TrimPrefix(w.Header().Get("Location"), "/tray/"))
		case 400, 413:
		default:
			t.Fatalf("upload = %d, want it taken or refused", w.Code)
		}
		if left, _ := filepath.Glob(filepath.Join(temp, "*")); len(left) > 0 {
			t.Fatalf("the upload left %q", left)
		}
		entries, err := os.ReadDir(data)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if !strings.HasPrefix(e.Name(), "doorleaf.") {
				t.Fatalf("the upload left %q in the data folder", e.Name())
			}
		}
	})
}

func checkTray(t *testing.T, st *store.Store, tray string) {
	t.Helper()
	cards, err := st.Tray(t.Context(), tray)
	if err != nil {
		t.Fatal(err)
	}
	total := int64(0)
	for _, c := range cards {
		data, err := st.TrayBytes(t.Context(), tray, c.ID)
		if err != nil {
			t.Fatal(err)
		}
		total += int64(len(data))
		if int64(len(data)) > fuzzLimits.CardBytes || strings.Contains(c.Name, "/") || c.Name == ".." {
			t.Fatalf("card %q of %d bytes on the tray", c.Name, len(data))
		}
		for step := range strings.SplitSeq(c.Folder, "/") {
			if step == ".." || strings.HasPrefix(c.Folder, "/") {
				t.Fatalf("card in the folder %q on the tray", c.Folder)
			}
		}
	}
	if len(cards) == 0 || len(cards) > fuzzLimits.Files || total > fuzzLimits.TotalBytes {
		t.Fatalf("%d cards of %d bytes on the tray", len(cards), total)
	}
	if err := st.ThrowTray(t.Context(), tray); err != nil {
		t.Fatal(err)
	}
}
