package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"doorleaf/store"
	"doorleaf/usage"
)

type passphraseCommand struct {
	Role    string `default:"coordinating" enum:"reading,reports,coordinating" help:"Whose passphrase: reading (look), reports (and take reports away) or coordinating (everything)."`
	Remove  bool   `xor:"what" help:"Take the role's passphrase away, and sign out who had it."`
	Open    bool   `xor:"what" name:"open-reading" help:"Let everybody who reaches the server read, without a passphrase."`
	Close   bool   `xor:"what" name:"close-reading" help:"End that."`
	SignOut bool   `xor:"what" name:"sign-everyone-out" help:"End all sessions."`
	Show    bool   `xor:"what" help:"Say which roles have a passphrase, and change nothing."`
}

func (passphraseCommand) Help() string {
	return "Asks twice for the new passphrase without showing it, or reads one line from standard input where that is no terminal. Whoever had the old one is signed out, also from a server that runs.\n\nExample:\n  doorleaf passphrase --role reading --data my-network"
}

func (cmd *passphraseCommand) Run(c *console) error {
	// Also while a server runs: who was signed out must be out at once.
	s, err := store.Open(c.ctx, c.data, store.Options{Now: c.now})
	if err != nil {
		return err
	}
	defer s.Close()
	role := store.Role(cmd.Role)
	switch {
	case cmd.Show:
		return showAccess(c, s)
	case cmd.Open || cmd.Close:
		if err := s.OpenReading(c.ctx, cmd.Open); err != nil {
			return err
		}
		return showAccess(c, s)
	case cmd.SignOut:
		n, err := s.EndSessions(c.ctx)
		if err == nil {
			fmt.Fprintf(c.err, "%d signed out\n", n)
		}
		return err
	case cmd.Remove:
		if err := s.RemovePassphrase(c.ctx, role); err != nil {
			return err
		}
		fmt.Fprintf(c.err, "%s has no passphrase any more\n", role)
		return nil
	}
	phrase, err := askPassphrase(c, os.Stdin, role)
	if err != nil {
		return err
	}
	if err := s.SetPassphrase(c.ctx, role, phrase); err != nil {
		return err
	}
	fmt.Fprintf(c.err, "%s has its passphrase\n", role)
	return nil
}

// showAccess writes a line a role: its name, and whether it has a passphrase.
func showAccess(c *console, s *store.Store) error {
	access, err := s.Access(c.ctx)
	if err != nil {
		return err
	}
	for _, role := range store.Roles() {
		state := "none"
		switch {
		case role == store.RoleReading && access.ReadingOpen:
			state = "open to everybody"
		case access.Has(role):
			state = "set"
		}
		fmt.Fprintf(c.out, "%s\t%s\n", role, state)
	}
	return nil
}

// askPassphrase asks a person twice, or takes one line from a pipe.
func askPassphrase(c *console, in *os.File, role store.Role) (string, error) {
	if !term.IsTerminal(int(in.Fd())) {
		return readLine(in)
	}
	fmt.Fprintf(c.err, "New passphrase for %s: ", role)
	first, err := readHidden(c, in)
	if err != nil {
		return "", err
	}
	if err := store.CheckPhrase(first); err != nil {
		return "", err
	}
	fmt.Fprint(c.err, "Once more: ")
	second, err := readHidden(c, in)
	if err != nil {
		return "", err
	}
	if first != second {
		return "", &usage.Fault{Kind: usage.Invalid, What: "the two are not the same", Try: "do it again; nothing was changed"}
	}
	return first, nil
}

// readHidden reads a line without showing it. An interrupt ends it with the
// terminal as it was before.
func readHidden(c *console, in *os.File) (string, error) {
	fd := int(in.Fd())
	before, err := term.GetState(fd)
	if err != nil {
		return "", fmt.Errorf("read passphrase: %w", err)
	}
	type line struct {
		text []byte
		err  error
	}
	read := make(chan line, 1)
	go func() {
		text, err := term.ReadPassword(fd)
		read <- line{text, err}
	}()
	select {
	case l := <-read:
		fmt.Fprintln(c.err)
		if l.err != nil {
			return "", fmt.Errorf("read passphrase: %w", l.err)
		}
		return string(l.text), nil
	case <-c.ctx.Done():
		return "", errors.Join(context.Cause(c.ctx), term.Restore(fd, before))
	}
}

// phraseFileBytes is as much as is read of a file or pipe with a passphrase.
const phraseFileBytes = 64 << 10

// readLine reads the first line, without its end.
func readLine(r io.Reader) (string, error) {
	line, err := bufio.NewReader(io.LimitReader(r, phraseFileBytes)).ReadString('\n')
	if err != nil && err != io.EOF {
		return "", fmt.Errorf("read passphrase: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

// passphraseFrom gives the coordinators the passphrase in a file, as a container
// is given a secret. The one that they have already changes nothing.
func passphraseFrom(c *console, s *store.Store, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return &usage.Fault{Kind: usage.NotFound, What: "the file with the coordinators' passphrase", Err: err, Try: "check --passphrase-file or DOORLEAF_PASSPHRASE_FILE"}
	}
	defer f.Close()
	phrase, err := readLine(f)
	if err == nil {
		err = s.SetPassphrase(c.ctx, store.RoleCoordinating, phrase)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}
