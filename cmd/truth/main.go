// Command truth measures how near the whole pipeline comes to the truth: made-up
// networks with every trouble that clocks and cards have are read, stitched, timed
// and derived, and what comes of it is laid beside what truly happened.
//
// It prints a table by situation, one by what the clock and the row were, and a
// line for each target, met or not, and ends with status 1 where one is missed.
//
// A second table tells how often the 95 % limits of figures hold what is to be
// expected of the process that made the visits, and how wide they are. Limits that
// hold it more often than asked are told as "above", and those that hold it as often as
// the method does by itself (exact limits of few visits hold more) as its "own".
//
// Usage:
//
//	truth -networks 200 -seed 1
//	truth -limits -repeats 40
//	truth -only "reset, anchored" -networks 4 -v
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"sync"
	"time"

	"doorleaf/importer/forge"
)

// options are what the command line says.
type options struct {
	networks int
	sites    int
	seed     uint64
	only     string
	verbose  int
	out      string
	limits   bool // nothing but the limits
	repeats  int
}

func main() {
	met, err := run(context.Background(), os.Args[1:], os.Stdout, os.Stderr)
	if err != nil {
		fmt.Fprintln(os.Stderr, "truth:", err)
		os.Exit(2)
	}
	if !met {
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out, notes io.Writer) (met bool, err error) {
	opt, err := parse(args, notes)
	if err != nil {
		return false, err
	}
	if opt.limits {
		return runLimits(opt, out, notes)
	}
	began := time.Now()
	book, err := measureAll(ctx, opt)
	if err != nil {
		return false, err
	}
	book.print(out, opt)
	met = printTargets(out, book.targets(opt.only == ""))
	fmt.Fprintf(notes, "%d networks, %d sites, %d openings in %.0f s\n", book.networks, book.all.sites, book.all.reached, time.Since(began).Seconds())
	if opt.only != "" {
		return met, nil
	}
	held, err := runLimits(opt, out, notes)
	return met && held, err
}

// runLimits makes, prints and judges the table of limits.
func runLimits(opt options, out, notes io.Writer) (met bool, err error) {
	began := time.Now()
	table, err := measureLimits(opt.repeats, opt.seed)
	if err != nil {
		return false, err
	}
	table.print(out)
	met = printTargets(out, table.targets())
	fmt.Fprintf(notes, "%d kinds of visitors, %d sites of each in %d situations in %.0f s\n", len(kinds()), opt.repeats, len(lacks()), time.Since(began).Seconds())
	return met, nil
}

func parse(args []string, notes io.Writer) (options, error) {
	var opt options
	flags := flag.NewFlagSet("truth", flag.ContinueOnError)
	flags.SetOutput(notes)
	flags.IntVar(&opt.networks, "networks", 200, "how many networks are made, dealt out over the situations")
	flags.IntVar(&opt.sites, "sites", 2, "sites of a network")
	flags.Uint64Var(&opt.seed, "seed", 1, "another seed makes other networks")
	flags.StringVar(&opt.only, "only", "", "the one situation to measure; -networks of it are made")
	flags.StringVar(&opt.out, "out", "", "a folder to write the networks to, each with its truth.json")
	flags.BoolVar(&opt.limits, "limits", false, "measure nothing but how often limits hold the truth")
	flags.IntVar(&opt.repeats, "repeats", 40, "sites of each kind of visitors in each situation, for the limits")
	verbose := flags.Bool("v", false, "tell the worst openings of each situation")
	flags.IntVar(&opt.verbose, "worst", 0, "how many of the worst openings are told; 12 with -v")
	if err := flags.Parse(args); err != nil {
		return opt, err
	}
	if *verbose && opt.verbose == 0 {
		opt.verbose = 12
	}
	if opt.networks < 1 || opt.sites < 1 {
		return opt, fmt.Errorf("%d networks of %d sites: want 1 or more", opt.networks, opt.sites)
	}
	if opt.repeats < 1 {
		return opt, fmt.Errorf("%d sites of a kind: want 1 or more", opt.repeats)
	}
	return opt, nil
}

// job is a network to be made: the ordinal's of its scenario.
type job struct {
	scenario forge.Scenario
	ordinal  int
}

// jobs deals the networks out over the scenarios, so that the first ones of a
// scenario are the same however many are made.
func (opt options) jobs() ([]job, error) {
	all := forge.Scenarios()
	var out []job
	for i := range opt.networks {
		out = append(out, job{all[i%len(all)], i / len(all)})
	}
	if opt.only == "" {
		return out, nil
	}
	for _, sc := range all {
		if sc.Name == opt.only {
			for i := range out {
				out[i] = job{sc, i}
			}
			return out, nil
		}
	}
	names := ""
	for _, sc := range all {
		names += fmt.Sprintf("\n  %-26s %s", sc.Name, sc.About)
	}
	return nil, fmt.Errorf("no situation %q; there are:%s", opt.only, names)
}

// make makes the network of a job.
func (opt options) make(j job) (*forge.Network, error) {
	sites := opt.sites
	if j.scenario.Name == forge.SwappedName {
		sites = max(6, sites)
	}
	return j.scenario.Network(sites, opt.seed*1_000_003+uint64(j.ordinal))
}

// measureAll makes and measures all networks, on all processors. The result
// does not depend on how many there are.
func measureAll(ctx context.Context, opt options) (*book, error) {
	jobs, err := opt.jobs()
	if err != nil {
		return nil, err
	}
	books := make([]*book, len(jobs))
	errs := make([]error, len(jobs))
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				books[i], errs[i] = opt.measure(ctx, jobs[i], i)
			}
		})
	}
	for i := range jobs {
		next <- i
	}
	close(next)
	wg.Wait()
	sum := newBook()
	for i := range books {
		if errs[i] != nil {
			return nil, fmt.Errorf("%s, network %d: %w", jobs[i].scenario.Name, jobs[i].ordinal, errs[i])
		}
		sum.add(books[i], opt.verbose)
	}
	return sum, nil
}

func (opt options) measure(ctx context.Context, j job, number int) (*book, error) {
	n, err := opt.make(j)
	if err != nil {
		return nil, err
	}
	if opt.out != "" {
		if err := n.WriteDir(fmt.Sprintf("%s/%03d %s", opt.out, number, j.scenario.Name)); err != nil {
			return nil, err
		}
	}
	b := newBook()
	b.networks = 1
	for _, s := range n.Sites {
		r, err := derive(s)
		if crash, ok := errors.AsType[crash](err); ok {
			b.crashed(s, j.ordinal, crash)
			continue
		}
		if err != nil {
			return nil, err
		}
		if err := r.measure(b, opt.verbose, j.ordinal); err != nil {
			return nil, err
		}
	}
	if len(n.Swaps) > 0 {
		if err := b.bringSwaps(ctx, n); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// crashed notes a site at which the pipeline panicked.
func (b *book) crashed(s *forge.Site, ordinal int, c crash) {
	for _, t := range []*tally{&b.all, group(b.situations, s.Spec.Situation)} {
		t.sites++
		t.crashed++
		t.worst = append(t.worst, bad{1 << 50, fmt.Sprintf("network %d %s: %v", ordinal, s.Spec.Code, c)})
	}
}
