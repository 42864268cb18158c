package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"doorleaf/importer/forge"
	"doorleaf/store"
)

// A database that is damaged is not served, whatever is damaged in it: the program says
// so and names the newest copy, and what that copy held is there after a restore.
func TestDamagedNetworkIsNotServed(t *testing.T) {
	good := t.TempDir()
	keepInvented(t, good)
	s, err := store.Open(t.Context(), good, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Roll(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(good, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name  string
		spoil func(b []byte) []byte
		says  string
	}{
		{"cut off", func(b []byte) []byte { return b[:len(b)/2+100] }, "damaged"},
		{"header", func(b []byte) []byte { copy(b, "SQLite nonsense 3"); return b }, ""},
		{"pages of zeros", func(b []byte) []byte { clear(b[8192 : 8192*8]); return b }, "damaged"},
		{"flipped bytes", func(b []byte) []byte {
			for i := 8192; i < len(b); i += 8192 {
				b[i] ^= 0x55 // the kind of every page
			}
			return b
		}, "damaged"},
		{"empty", func(b []byte) []byte { return b[:3] }, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			copyTree(t, good, dir)
			file := filepath.Join(dir, store.FileName)
			if err := os.WriteFile(file, c.spoil(append([]byte(nil), data...)), 0o600); err != nil {
				t.Fatal(err)
			}
			ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
			defer stop()
			var out, errs strings.Builder
			code := run(ctx, []string{"serve", "--data", dir, "--listen", "127.0.0.1:0"}, &out, &errs)
			if code != 1 || strings.Contains(out.String(), "listening") || !strings.Contains(errs.String(), "try: ") || !strings.Contains(errs.String(), c.says) {
				t.Errorf("serve of a damaged network: status %d\n%s%s\nwant it refused and what to try", code, out.String(), errs.String())
			}
			copies, err := store.Copies(dir)
			if err != nil || len(copies) != 1 {
				t.Fatalf("Copies = %q, %v", copies, err)
			}
			if c.says != "" && !strings.Contains(errs.String(), "restore") {
				t.Errorf("serve says %q, want the way to a copy", errs.String())
			}
			must(t, "--data", dir, "restore", copies[0], "--replace")
			must(t, "--data", dir, "check")
		})
	}
}

func keepInvented(t *testing.T, dir string) {
	t.Helper()
	n, err := forge.Random(120, 2, 5)
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), dir, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, site := range n.Sites {
		err := s.AddSite(t.Context(), site.Spec.Site())
		for _, c := range site.Cards {
			data, readErr := c.Bytes()
			_, keepErr := s.Keep(t.Context(), site.Spec.Code, []store.CardIn{{Name: c.Name, Bytes: data}})
			err = errors.Join(err, readErr, keepErr)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func copyTree(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// certificate makes a certificate for the loopback address and writes it as PEM files.
func certificate(t *testing.T) (certFile, keyFile string, roots *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	about := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "boxes.example"}, DNSNames: []string{"boxes.example"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	cert, err := x509.CreateCertificate(rand.Reader, about, about, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	err = errors.Join(
		os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert}), 0o600),
		os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600),
	)
	if err != nil {
		t.Fatal(err)
	}
	roots = x509.NewCertPool()
	parsed, err := x509.ParseCertificate(cert)
	if err != nil {
		t.Fatal(err)
	}
	roots.AddCert(parsed)
	return certFile, keyFile, roots
}

// Served with a certificate, pages come encrypted and say that they always will; the
// cookie is one that never crosses the network in the clear. Without one, none of this
// is claimed.
func TestServeOverTLS(t *testing.T) {
	certFile, keyFile, roots := certificate(t)
	secret := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte("saddle mitten quarry\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	address := serving(t, "serve", "--data", t.TempDir(), "--host", "boxes.example", "--passphrase-file", secret, "--tls-cert", certFile, "--tls-key", keyFile)
	if !strings.HasPrefix(address, "https://") {
		t.Fatalf("listening on %s, want https", address)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := client.PostForm(address+"/sign-in", url.Values{"who": {"Ann"}, "passphrase": {"saddle mitten quarry"}})
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	cookies := res.Cookies()
	if res.StatusCode != 303 || len(cookies) != 1 || !cookies[0].Secure || !cookies[0].HttpOnly || cookies[0].SameSite == http.SameSiteNoneMode || !strings.HasPrefix(cookies[0].Name, "__Host-") {
		t.Fatalf("sign in = %d with cookies %+v, want one that is Secure, HttpOnly and of this host alone", res.StatusCode, cookies)
	}
	if res, err = client.Get(address + "/journal"); err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if got := res.Header.Get("Strict-Transport-Security"); res.StatusCode != 200 || !strings.Contains(got, "max-age=") {
		t.Errorf("GET /journal over TLS = %d, Strict-Transport-Security %q, want some", res.StatusCode, got)
	}
	old := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MaxVersion: tls.VersionTLS11}}}
	if _, err := old.Get(address + "/healthz"); err == nil {
		t.Error("TLS 1.1 is spoken")
	}
	plain := serving(t, "serve", "--data", t.TempDir())
	if res, err = http.Get(plain + "/"); err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if got := res.Header.Get("Strict-Transport-Security"); got != "" {
		t.Errorf("without TLS, Strict-Transport-Security = %q, want none", got)
	}
}
