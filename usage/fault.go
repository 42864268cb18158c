package usage

import "errors"

// Kind sorts faults by what the caller can do about them; the server maps each
// to one HTTP status, the command line to an exit code.
type Kind uint8

// The kinds of fault.
const (
	Invalid  Kind = iota + 1 // the request or the file makes no sense as it is
	NotFound                 // no such site, card, season
	Conflict                 // it contradicts what is kept; the coordinator must choose
	TooLarge                 // over a limit
)

// Fault is an error that a person can act on: what happened, and what to try.
type Fault struct {
	Kind Kind
	What string // one sentence without full stop: what happened, and where (file, line)
	Try  string // what to do about it; may be empty
	Err  error  // cause, may be nil
}

func (f *Fault) Error() string {
	if f.Err != nil {
		return f.What + ": " + f.Err.Error()
	}
	return f.What
}

// Unwrap returns the cause.
func (f *Fault) Unwrap() error { return f.Err }

// KindOf returns the kind of the first Fault in err's chain, or 0.
func KindOf(err error) Kind {
	var f *Fault
	if errors.As(err, &f) {
		return f.Kind
	}
	return 0
}
