package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"runtime"
	"time"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/assets"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
)

type serveCommand struct {
	Listen         string   `default:"127.0.0.1:8080" help:"Address and port; port 0 takes a free one."`
	Host           []string `help:"A name besides the loopback ones that browsers use for this server. It takes a coordinating passphrase." placeholder:"NAME"`
	BehindProxy    bool     `help:"One reverse proxy stands before this server: believe what it says of callers and encryption. It takes a coordinating passphrase."`
	TLSCert        string   `name:"tls-cert" type:"path" placeholder:"FILE" help:"Serve encrypted, with this certificate (PEM)."`
	TLSKey         string   `name:"tls-key" type:"path" placeholder:"FILE" help:"Key of the certificate (PEM)."`
	PassphraseFile string   `type:"path" env:"DOORLEAF_PASSPHRASE_FILE" placeholder:"FILE" help:"Give the coordinators the passphrase in this file's first line."`
	Templates      string   `hidden:"" type:"path" help:"Folder of the package web: read its templates anew for every page."`
	Verbose        bool     `short:"v" help:"Log every request."`
	limitFlags
}

func (serveCommand) Help() string {
	return "Prints «listening on http://HOST:PORT» and serves until it is interrupted.\n\nExample:\n  doorleaf serve --data my-network --listen 127.0.0.1:8080\n\nOther machines reach it on another address, once «doorleaf passphrase» has set who may change things:\n  doorleaf serve --listen 0.0.0.0:8080 --host boxes.example"
}

func (cmd *serveCommand) Run(c *console) error {
	s, err := c.alone("serve")
	if err != nil {
		return err
	}
	defer s.Close()
	return cmd.serve(c, s)
}

// shutdownTime is how long open requests may take to end after an interrupt.
const shutdownTime = 10 * time.Second

func (cmd *serveCommand) serve(c *console, s *store.Store) error {
	if cmd.PassphraseFile != "" {
		if err := passphraseFrom(c, s, cmd.PassphraseFile); err != nil {
			return err
		}
	}
	listener, err := cmd.listen(c, s)
	if err != nil {
		return err
	}
	defer listener.Close()
	readers := new(server.Readers)
	handler, drawer, err := cmd.handler(c, s, listener.Addr(), readers)
	if err != nil {
		return err
	}
	defer drawer.Close()
	srv := server.HTTP(handler)
	done := make(chan error, 1)
	go func() {
		<-c.ctx.Done()
		ctx, cancel := context.WithTimeout(context.Background(), shutdownTime)
		defer cancel()
		done <- srv.Shutdown(ctx)
	}()
	begin, scheme := srv.Serve, "http"
	if cmd.TLSCert != "" {
		begin, scheme = func(l net.Listener) error { return srv.ServeTLS(l, "", "") }, "https"
		if srv.TLSConfig, err = cmd.tls(); err != nil {
			return err
		}
	}
	if cmd.remote() && !cmd.BehindProxy && cmd.TLSCert == "" {
		fmt.Fprintln(c.err, "doorleaf: passphrases cross the network unencrypted; see --tls-cert, or --behind-proxy for a proxy that encrypts")
	}
	if err := s.Serving(fmt.Sprintf("%s://%s", scheme, listener.Addr())); err != nil {
		return err
	}
	stop := tend(c, s, readers)
	defer stop()
	fmt.Fprintf(c.out, "listening on %s://%s\n", scheme, listener.Addr())
	if err := begin(listener); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve: %w", err)
	}
	return <-done
}

// remote reports whether others than the person at this machine can reach the
// server. Another name or a proxy tells that they are meant to.
func (cmd *serveCommand) remote() bool {
	host, _, err := net.SplitHostPort(cmd.Listen)
	ip := net.ParseIP(host)
	loopback := err == nil && (host == "localhost" || ip != nil && ip.IsLoopback())
	return !loopback || cmd.BehindProxy || len(cmd.Host) > 0
}

// tls reads the certificate.
func (cmd *serveCommand) tls() (*tls.Config, error) {
	pair, err := tls.LoadX509KeyPair(cmd.TLSCert, cmd.TLSKey)
	if err != nil {
		return nil, &usage.Fault{Kind: usage.Invalid, What: "read the certificate", Err: err, Try: "give --tls-cert and --tls-key as PEM files that belong together"}
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}

// listen opens the port. Where others can reach it there must be a coordinating
// passphrase first.
func (cmd *serveCommand) listen(c *console, s *store.Store) (net.Listener, error) {
	if _, _, err := net.SplitHostPort(cmd.Listen); err != nil {
		return nil, &usage.Fault{Kind: usage.Invalid, What: "--listen " + cmd.Listen, Err: err, Try: "give address and port, such as 127.0.0.1:8080"}
	}
	access, err := s.Access(c.ctx)
	if err != nil {
		return nil, err
	}
	if cmd.remote() && !access.Has(store.RoleCoordinating) {
		return nil, &usage.Fault{
			Kind: usage.Conflict,
			What: fmt.Sprintf("others can reach a server on %s, and no passphrase says who may change things", cmd.Listen),
			Try:  "set one with «doorleaf passphrase», and start again; or listen on 127.0.0.1 without --host and --behind-proxy, for yourself alone",
		}
	}
	l, err := net.Listen("tcp", cmd.Listen)
	if err != nil {
		return nil, &usage.Fault{Kind: usage.Conflict, What: "listen on " + cmd.Listen, Err: err, Try: "choose another port with --listen, or port 0 for a free one"}
	}
	return l, nil
}

func (cmd *serveCommand) handler(c *console, s *store.Store, addr net.Addr, readers *server.Readers) (http.Handler, *draw.Engine, error) {
	level := slog.LevelInfo
	if cmd.Verbose {
		level = slog.LevelDebug
	}
	log := slog.New(slog.NewTextHandler(c.err, &slog.HandlerOptions{Level: level}))
	if !assets.Built() {
		return nil, nil, &usage.Fault{Kind: usage.Conflict, What: "this program was built without its charts and typefaces", Err: assets.ErrNotBuilt, Try: "make build"}
	}
	drawer := draw.New(draw.Options{Machines: min(2, runtime.NumCPU()), Folder: filepath.Join(c.data, "drawings")})
	go giveBack(c.ctx, drawer)
	h, err := server.New(server.Config{
		Background: c.ctx, Readers: readers,
		Store: s, Charts: chart.New(drawer), Now: c.now, Log: log, Limits: cmd.limits(),
		Hosts: cmd.hosts(addr), Remote: cmd.remote(), BehindProxy: cmd.BehindProxy, Templates: cmd.Templates,
	})
	return h, drawer, err
}

// hosts are the names that the server answers to: on a loopback address those
// of the loopback interface; beyond it, that address and the names given.
func (cmd *serveCommand) hosts(addr net.Addr) []string {
	hosts := server.LoopbackHosts(addr)
	if a, ok := addr.(*net.TCPAddr); ok && !a.IP.IsUnspecified() {
		hosts = append(hosts, addr.String())
	}
	return append(hosts, cmd.Host...)
}
