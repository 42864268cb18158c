package main

import (
	"os"
	"path/filepath"
	"runtime"
)

// defaultData is where a network lives unless somebody says otherwise: the
// user's data folder (XDG Base Directory Specification, and its like on other
// systems).
func defaultData() string {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "doorleaf")
	}
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		if dir, err := os.UserConfigDir(); err == nil {
			return filepath.Join(dir, "Doorleaf")
		}
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "doorleaf-data"
	}
	return filepath.Join(home, ".local", "share", "doorleaf")
}
