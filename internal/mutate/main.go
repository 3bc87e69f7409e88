// Command mutate asks whether the tests would notice a mistake. It changes the
// code in one small way at a time, such as < to <= or math.Sin to math.Cos, and
// runs the tests of the package. A change that no test notices has survived:
// either a test is missing, or the code does not matter, or the change makes no
// difference. Changes of the last kind stand in equivalent.txt, with the reason.
//
//	go run ./internal/mutate ./...                   every change of every package
//	go run ./internal/mutate -n 40 -seed 2 ./lens    a sample of one package
//	go run ./internal/mutate -in Aperture ./lens     what matches, of files and functions
//
// The tree stays as it is: the compiler reads changed files through an overlay
// in a temporary folder. Go's build cache grows by 1 to 2 MB a change, which Go
// drops after some days without use.
package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"slices"
	"sync"
	"syscall"
	"time"
)

// options are the flags.
type options struct {
	patterns  []string
	n         int
	seed      uint64
	jobs      int
	in        *regexp.Regexp
	run       string
	fast      bool
	importers bool
	timeout   time.Duration
	least     float64
	list      bool
	except    string

	out, progress io.Writer
}

func main() {
	o := options{out: os.Stdout, progress: os.Stderr}
	flag.IntVar(&o.n, "n", 0, "changes a package; 0: all of them")
	flag.Uint64Var(&o.seed, "seed", 1, "chooses the sample of -n; an edit elsewhere leaves most of a sample as it was")
	flag.IntVar(&o.jobs, "jobs", runtime.GOMAXPROCS(0), "changes tested at a time")
	in := flag.String("in", "", "only changes where this expression matches \"folder/file.go Function\"")
	flag.StringVar(&o.run, "run", "", "only tests that match this expression, as in go test")
	flag.BoolVar(&o.fast, "fast", false, "leave out tests that take longer than "+slow.String())
	flag.BoolVar(&o.importers, "importers", false, "run what survives through the tests of the packages that import it too")
	flag.DurationVar(&o.timeout, "timeout", 0, "processor time of the tests of a change; 0: five times what they take unchanged, and 5 s")
	flag.Float64Var(&o.least, "min", 0, "fail below this percentage of caught changes")
	flag.BoolVar(&o.list, "list", false, "list the changes, test nothing")
	flag.StringVar(&o.except, "equivalent", "internal/mutate/equivalent.txt", "changes that make no difference, from the module's root")
	flag.Parse()
	o.patterns = flag.Args()
	if len(o.patterns) == 0 {
		o.patterns = []string{"./..."}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	var err error
	if o.in, err = regexp.Compile(*in); err == nil {
		_, err = run(ctx, o)
	}
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

// tally is what became of the changes of one package.
type tally struct {
	pkg                           *source
	chosen                        []mutant
	caught, timedOut, survived    int
	broken, equivalent, available int
	survivors                     []mutant
}

// percent of the changes that compile and could be noticed. None is 100.
func (t tally) percent() float64 {
	if t.caught+t.survived == 0 {
		return 100
	}
	return 100 * float64(t.caught) / float64(t.caught+t.survived)
}

// run lists the changes, or tests them and reports.
func run(ctx context.Context, o options) ([]tally, error) {
	folder, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	module, err := load(ctx, o.patterns)
	if err != nil {
		return nil, err
	}
	exceptions, err := readExceptions(module.path(o.except))
	if err != nil {
		return nil, err
	}
	var tallies []tally
	for _, pkg := range module.packages {
		tallies = append(tallies, choose(pkg, exceptions, o))
	}
	var faults []error
	for _, e := range exceptions {
		if !e.used && module.holds(e.file) {
			faults = append(faults, fmt.Errorf("%s:%d: no change of %s reads so: strike it out, or correct it", o.except, e.line, e.file))
		}
	}
	if o.list {
		for _, t := range tallies {
			slices.SortFunc(t.chosen, mutant.compare)
			for _, m := range t.chosen {
				fmt.Fprintln(o.out, m)
			}
		}
		return tallies, errors.Join(faults...)
	}
	r := &runner{options: o, folder: folder, module: module}
	tallies, err = r.all(ctx, tallies)
	faults = append(faults, err)
	if p := report(o.out, tallies).percent(); p < o.least {
		faults = append(faults, fmt.Errorf("%.1f %% caught, less than %g %%", p, o.least))
	}
	return tallies, errors.Join(faults...)
}

// choose takes out equivalent changes, and those that do not compile until
// enough are left.
func choose(pkg *source, exceptions []*exception, o options) tally {
	t := tally{pkg: pkg}
	for _, m := range pkg.mutants(o.seed) {
		excepted := false
		for _, e := range exceptions {
			if e.matches(m) {
				e.used, excepted = true, true
			}
		}
		if !o.in.MatchString(m.file + " " + m.function) {
			continue
		}
		t.available++
		switch {
		case excepted:
			t.equivalent++
		case o.n > 0 && len(t.chosen) >= o.n:
		case !pkg.compiles(m):
			t.broken++
		default:
			t.chosen = append(t.chosen, m)
		}
	}
	return t
}

// all tests the packages that have tests, the fastest first.
func (r *runner) all(ctx context.Context, tallies []tally) ([]tally, error) {
	var ready []tally
	var faults []error
	for _, t := range tallies {
		if len(t.chosen) == 0 {
			continue
		}
		if t.pkg.suite.untested {
			fmt.Fprintf(r.progress, "%s has no tests\n", t.pkg.name)
			continue
		}
		if err := r.baseline(ctx, t.pkg.suite); ctx.Err() != nil {
			return nil, ctx.Err()
		} else if err != nil {
			faults = append(faults, err)
			continue
		}
		ready = append(ready, t)
	}
	slices.SortStableFunc(ready, func(a, b tally) int { return cmp.Compare(a.pkg.suite.took, b.pkg.suite.took) })
	for i := range ready {
		err := r.test(ctx, &ready[i])
		for _, m := range ready[i].survivors {
			fmt.Fprintln(r.out, m)
		}
		if ctx.Err() != nil {
			return ready, ctx.Err()
		}
		faults = append(faults, err)
	}
	return ready, errors.Join(faults...)
}

// test runs the tests against the chosen changes of one package.
func (r *runner) test(ctx context.Context, t *tally) error {
	fmt.Fprintf(r.progress, "%s: %d changes, the tests take %.1f s  ", t.pkg.name, len(t.chosen), t.pkg.suite.took.Seconds())
	verdicts, faults := make([]verdict, len(t.chosen)), make([]error, len(t.chosen))
	work := make(chan int)
	var jobs sync.WaitGroup
	for job := range max(r.jobs, 1) {
		jobs.Add(1)
		go func() {
			defer jobs.Done()
			for i := range work {
				verdicts[i], faults[i] = r.judge(ctx, job, t.pkg, t.chosen[i])
				fmt.Fprint(r.progress, verdicts[i].mark())
			}
		}()
	}
	for i := range verdicts {
		if ctx.Err() != nil {
			break
		}
		work <- i
	}
	close(work)
	jobs.Wait()
	fmt.Fprintln(r.progress)
	for i, v := range verdicts {
		switch v {
		case caught:
			t.caught++
		case timedOut:
			t.caught++
			t.timedOut++
		case broken:
			t.broken++
		case survived:
			t.survived++
			t.survivors = append(t.survivors, t.chosen[i])
		}
	}
	slices.SortFunc(t.survivors, mutant.compare)
	return errors.Join(faults...)
}

// report prints the counts, and returns their sum.
func report(out io.Writer, tallies []tally) tally {
	all := tally{pkg: &source{name: "all"}}
	for _, t := range tallies {
		all.caught += t.caught
		all.timedOut += t.timedOut
		all.survived += t.survived
		all.broken += t.broken
		all.equivalent += t.equivalent
		all.available += t.available
	}
	fmt.Fprintf(out, "%-20s %6s %6s %8s %10s %13s %11s %7s\n",
		"package", "caught", "of", "", "timed out", "not compiled", "equivalent", "known")
	for _, t := range append(tallies, all) {
		fmt.Fprintf(out, "%-20s %6d %6d %6.1f %% %10d %13d %11d %7d\n", t.pkg.name,
			t.caught, t.caught+t.survived, t.percent(), t.timedOut, t.broken, t.equivalent, t.available)
	}
	return all
}
