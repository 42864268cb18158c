package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"doorleaf/usage"
)

// LockName is the name of the lock file in a data folder. The file stays; what counts
// is the lock of the operating system on it, which ends with the process.
const LockName = "doorleaf.lock"

// Lock is the right to change a network. One process at a time has it: so nobody's
// copy, merge or restore meets somebody else's half-way, and no page shows what
// another program has changed under it. Reading needs no lock.
type Lock struct {
	file   *os.File
	holder Holder
}

// Holder says who has a lock.
type Holder struct {
	What    string `json:"what"` // the command
	Process int    `json:"process"`
	Since   int64  `json:"since"`             // Unix s
	Address string `json:"address,omitempty"` // where it serves
}

// errLocked is that another process has the lock.
var errLocked = errors.New("locked")

// TakeLock takes the lock of the data folder dir, making the folder where there is
// none. Where another process has it the error is a Conflict that says who.
func TakeLock(dir, what string, now time.Time) (*Lock, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, folderFault(dir, err)
	}
	name := filepath.Join(dir, LockName)
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, folderFault(dir, err)
	}
	if err := lockFile(f); err != nil {
		held := readHolder(name)
		f.Close()
		if !errors.Is(err, errLocked) {
			return nil, folderFault(dir, err)
		}
		return nil, held.fault(dir)
	}
	l := &Lock{file: f, holder: Holder{What: what, Process: os.Getpid(), Since: now.Unix()}}
	return l, l.note()
}

// Serving notes where the holder serves, for whoever finds the lock taken.
func (l *Lock) Serving(address string) error {
	l.holder.Address = address
	return l.note()
}

// Release gives the lock back.
func (l *Lock) Release() error {
	return errors.Join(l.file.Truncate(0), l.file.Close())
}

// note writes who has the lock. A disk that is full does not matter here.
func (l *Lock) note() error {
	data, err := json.Marshal(l.holder)
	if err != nil {
		return err
	}
	if err := l.file.Truncate(0); err == nil {
		_, _ = l.file.WriteAt(append(data, '\n'), 0)
	}
	return nil
}

func readHolder(name string) Holder {
	var h Holder
	if data, err := os.ReadFile(name); err == nil {
		_ = json.Unmarshal(data, &h) // whatever it is, it is taken
	}
	return h
}

func (h Holder) fault(dir string) error {
	f := &usage.Fault{
		Kind: usage.Conflict,
		What: fmt.Sprintf("another Doorleaf may change the network in %s at the moment", dir),
		Try:  "wait until it has finished, or stop it; reading commands (report, export, bundle, backup, check) work meanwhile",
	}
	if h.Process != 0 {
		f.What += fmt.Sprintf(": doorleaf %s, process %d, since %s", h.What, h.Process, time.Unix(h.Since, 0).UTC().Format(time.RFC3339))
	}
	if h.Address != "" {
		f.Try = "do it in the browser at " + h.Address + ", or stop that process first; reading commands (report, export, bundle, backup, check) work meanwhile"
	}
	return f
}

// folderFault says that a data folder cannot be used for writing.
func folderFault(dir string, err error) error {
	return &usage.Fault{
		Kind: usage.Conflict,
		What: "the data folder " + dir + " cannot be written to",
		Try:  "let the user who runs Doorleaf write to it, make room on its disk, or name another with --data; nothing was changed",
		Err:  err,
	}
}
