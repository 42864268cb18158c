package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
	"doorleaf/web/assets"
	"doorleaf/web/chart"
	"doorleaf/web/draw"
)

type serveCommand struct {
	Listen    string   `default:"127.0.0.1:8080" help:"Address and port; port 0 takes a free one."`
	Host      []string `help:"A name besides the loopback ones that browsers may use for this server." placeholder:"NAME"`
	Open      bool     `name:"open-to-network" help:"Allow an address that other machines reach. Whoever reaches it may change everything."`
	Templates string   `hidden:"" type:"path" help:"Folder of the package web: read its templates anew for every page."`
	Verbose   bool     `short:"v" help:"Log every request."`
	limitFlags
}

func (serveCommand) Help() string {
	return "Prints «listening on http://HOST:PORT» and serves until it is interrupted.\n\nExample:\n  doorleaf serve --data my-network --listen 127.0.0.1:8080"
}

func (cmd *serveCommand) Run(c *console) error {
	s, err := c.open()
	if err != nil {
		return err
	}
	defer s.Close()
	return cmd.serve(c, s)
}

// shutdownTime is how long open requests may take to end after an interrupt.
const shutdownTime = 10 * time.Second

func (cmd *serveCommand) serve(c *console, s *store.Store) error {
	listener, err := cmd.listen()
	if err != nil {
		return err
	}
	defer listener.Close()
	handler, err := cmd.handler(c, s, listener.Addr())
	if err != nil {
		return err
	}
	srv := server.HTTP(handler)
	done := make(chan error, 1)
	go func() {
		<-c.ctx.Done()
		ctx, cancel := context.WithTimeout(context.Background(), shutdownTime)
		defer cancel()
		done <- srv.Shutdown(ctx)
	}()
	fmt.Fprintf(c.out, "listening on http://%s\n", listener.Addr())
	if err := srv.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve: %w", err)
	}
	return <-done
}

// listen opens the port. An address beyond loopback must be asked for twice,
// since nobody is asked who they are.
func (cmd *serveCommand) listen() (net.Listener, error) {
	host, _, err := net.SplitHostPort(cmd.Listen)
	if err != nil {
		return nil, &usage.Fault{Kind: usage.Invalid, What: "--listen " + cmd.Listen, Err: err, Try: "give address and port, such as 127.0.0.1:8080"}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) && !cmd.Open {
		return nil, &usage.Fault{
			Kind: usage.Invalid,
			What: fmt.Sprintf("%s can be reached from other machines, and whoever reaches it may change everything", cmd.Listen),
			Try:  "listen on 127.0.0.1, or add --open-to-network where only people you trust can reach it",
		}
	}
	l, err := net.Listen("tcp", cmd.Listen)
	if err != nil {
		return nil, &usage.Fault{Kind: usage.Conflict, What: "listen on " + cmd.Listen, Err: err, Try: "choose another port with --listen, or port 0 for a free one"}
	}
	return l, nil
}

func (cmd *serveCommand) handler(c *console, s *store.Store, addr net.Addr) (http.Handler, error) {
	level := slog.LevelInfo
	if cmd.Verbose {
		level = slog.LevelDebug
	}
	log := slog.New(slog.NewTextHandler(c.err, &slog.HandlerOptions{Level: level}))
	if !assets.Built() {
		return nil, &usage.Fault{Kind: usage.Conflict, What: "this program was built without its charts and typefaces", Err: assets.ErrNotBuilt, Try: "make build"}
	}
	return server.New(server.Config{
		Store: s, Charts: chart.New(draw.New(draw.Options{})), Now: c.now, Log: log, Limits: cmd.limits(),
		Hosts: cmd.hosts(addr), Templates: cmd.Templates,
	})
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
