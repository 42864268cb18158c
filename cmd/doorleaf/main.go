// Command doorleaf keeps the cards of a network of book-box loggers and shows
// what they tell. One small file here holds one command; the work is done in
// the packages beside it.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // civil time must not depend on the machine's own zone files

	"github.com/alecthomas/kong"

	"doorleaf/store"
	"doorleaf/usage"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// commands is the command line.
type commands struct {
	Data string `help:"Folder that holds the network (default: the user's data folder)." env:"DOORLEAF_DATA" type:"path" placeholder:"DIR"`

	Demo    demoCommand    `cmd:"" help:"Make the demo network, once, and serve it."`
	Serve   serveCommand   `cmd:"" help:"Serve the network to a browser."`
	Network networkCommand `cmd:"" help:"Say what the network is called and how its pages write."`
	Site    siteCommands   `cmd:"" help:"Add, list and change sites."`
	Inspect inspectCommand `cmd:"" help:"Say what is read from card files; keep nothing."`
	Import  importCommand  `cmd:"" help:"Keep card files and derive their sites again."`
	Rebuild rebuildCommand `cmd:"" help:"Derive everything again from what is kept."`
	Report  reportCommand  `cmd:"" help:"Write a season report."`
	Export  exportCommand  `cmd:"" help:"Write the network as open data."`
	Forge   forgeCommand   `cmd:"" help:"Make invented card files and their truth."`
	Round   roundCommand   `cmd:"" help:"List the boxes in the order worth walking, with what is due."`
	Prepare prepareCommand `cmd:"" help:"Make a card ready for its logger."`
	Bench   benchCommand   `cmd:"" help:"Judge the first card of a new logger; keep nothing."`

	Bundle  bundleCommand  `cmd:"" help:"Write everything kept into one file, to hand on or to merge."`
	Merge   mergeCommand   `cmd:"" help:"Take over what another network's bundle holds."`
	Backup  backupCommand  `cmd:"" help:"Copy the whole network, also while it is in use."`
	Restore restoreCommand `cmd:"" help:"Make the network from a copy or a bundle, and verify it."`
	Check   checkCommand   `cmd:"" help:"Look whether everything kept and derived is as it should be."`

	Passphrase passphraseCommand `cmd:"" help:"Set who may read, take reports away, and change things."`

	Health healthCommand `cmd:"" hidden:"" help:"Ask a running server whether it is well."`
}

// console is what a command may touch of the world.
type console struct {
	ctx      context.Context
	out, err io.Writer
	data     string
	now      func() time.Time
}

// exit is the status of a command that has already said what is wrong.
type exit int

func (e exit) Error() string { return fmt.Sprintf("exit status %d", int(e)) }

// run runs one command line and returns its exit status: 0 done, 1 refused or
// failed, 2 a command line that makes no sense.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	outliveFileLimit()
	var cli commands
	status := -1
	parser, err := kong.New(&cli,
		kong.Name("doorleaf"),
		kong.Description("From the cards of book-box loggers to charts and counts that can be defended."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(code int) { status = code }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.WithHyphenPrefixedParameters(true), // --longitude -8.2
	)
	if err != nil {
		fmt.Fprintln(stderr, "doorleaf:", err)
		return 2
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	parsed, err := parser.Parse(args)
	switch {
	case status >= 0:
		return status // --help
	case err != nil:
		fmt.Fprintf(stderr, "doorleaf: %v\ntry: doorleaf --help\n", err)
		return 2
	}
	if cli.Data == "" {
		cli.Data = defaultData()
	}
	return report(parsed.Run(&console{ctx, stdout, stderr, cli.Data, time.Now}), stderr)
}

// report says what went wrong and what to try.
func report(err error, stderr io.Writer) int {
	var code exit
	switch {
	case err == nil:
		return 0
	case errors.As(err, &code):
		return int(code)
	}
	fmt.Fprintf(stderr, "doorleaf: %s\n", visible(err.Error()))
	var f *usage.Fault
	if errors.As(err, &f) && f.Try != "" {
		fmt.Fprintf(stderr, "try: %s\n", visible(f.Try))
	}
	return 1
}

// open opens the network in the data folder.
func (c *console) open() (*store.Store, error) {
	return store.Open(c.ctx, c.data, store.Options{Now: c.now})
}
