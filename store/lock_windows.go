//go:build windows

package store

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFrom is where the locked byte lies: Windows keeps others from reading what is
// locked, and who holds the lock must be readable.
const lockFrom = 1 << 30

// lockFile locks a file for this process alone, or returns errLocked at once.
func lockFile(f *os.File) error {
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY,
		0, 1, 0, &windows.Overlapped{Offset: lockFrom})
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errLocked
	}
	return err
}

// syncFolder does nothing: NTFS keeps renames in its own journal.
func syncFolder(string) error { return nil }
