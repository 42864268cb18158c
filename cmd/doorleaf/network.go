package main

import (
	"context"
	"errors"
	"fmt"

	"doorleaf/server"
	"doorleaf/store"
	"doorleaf/usage"
)

// alone opens the network to change it; nobody else may until it is closed. what is
// the command.
func (c *console) alone(what string) (*store.Store, error) {
	return store.Open(c.ctx, c.data, store.Options{Now: c.now, Alone: what})
}

// read opens the network for reading, also while it is served.
func (c *console) read() (*store.Store, error) {
	s, err := store.OpenToRead(c.ctx, c.data, store.Options{Now: c.now})
	if errors.Is(err, store.ErrNeedsWriting) {
		return c.alone("bringing the network up to date")
	}
	return s, err
}

// tryOf returns what an error says to try, "" for nothing.
func tryOf(err error) string {
	if f, ok := errors.AsType[*usage.Fault](err); ok {
		return f.Try
	}
	return ""
}

// tend looks after a network that is served, when no reader waits for a page, and
// returns what ends that.
func tend(c *console, s *store.Store, readers *server.Readers) (stop func()) {
	ctx, cancel := context.WithCancel(c.ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.Tend(ctx, readers.Wait, func(what string, err error) {
			if err != nil {
				fmt.Fprintf(c.err, "doorleaf: %s: %s\n", oneLine(what), oneLine(err.Error()))
				return
			}
			fmt.Fprintf(c.err, "doorleaf: %s\n", oneLine(what))
		})
	}()
	return func() {
		cancel()
		<-done
	}
}
