package main

import (
	"bytes"
	"context"
	"os"
	"os/signal"
	"strconv"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"doorleaf": func() {
		ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
		defer stop()
		os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
	}})
}

// TestScripts runs the command line as people do; see testdata/script.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("DOORLEAF_DATA", e.WorkDir+"/network")
			e.Setenv("HOME", e.WorkDir)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"make-file": makeFile},
	})
}

// makeFile is the script command «make-file NAME BYTES VALUE»: a file of so
// many bytes of one value.
func makeFile(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: make-file name bytes value")
	}
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	v, err := strconv.ParseUint(args[2], 0, 8)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), bytes.Repeat([]byte{byte(v)}, n), 0o644))
}
