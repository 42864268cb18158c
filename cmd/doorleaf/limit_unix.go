//go:build unix

package main

import (
	"os/signal"
	"syscall"
)

// outliveFileLimit lets a write beyond the file-size limit (ulimit -f) fail with an
// error that can be told in words, where the default is that the program is killed.
func outliveFileLimit() { signal.Ignore(syscall.SIGXFSZ) }
