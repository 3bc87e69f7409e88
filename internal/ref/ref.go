// Package ref holds the reference checks: comparisons of a public function
// with a number from outside the project.
//
// Each check has an id. The index, testdata/references.csv, says for each id
// what it checks, where the number comes from, the tolerance and the reason
// for it. The tolerance is read from the index, so a check and its entry
// cannot differ. An id that is not in the index fails the test.
package ref

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"

	"example.com/platewright/internal/near"
)

// Module is the path of the module whose index this package reads.
const Module = "example.com/platewright"

// The provenances: how a reference value reached the project.
const (
	Published = "published"       // read in the named source
	Memory    = "memory"          // the source is named, the number recalled
	Common    = "common practice" // a fact of the trade, no source
	Peer      = "peer"            // computed by a named general-purpose library
	Derived   = "derived"         // a second, independent way to compute it
)

// Entry is one row of the index.
type Entry struct {
	ID          string
	Package     string   // path below the module, like "projection/warp"
	Identifiers []string // like "Camera.Project"; one or more
	Source      string
	Provenance  string
	Tolerance   Tolerance
	Reason      string // why that tolerance
}

// Tolerance is the largest difference allowed. The index writes it as "exact",
// "5e-9 abs", "1e-12 rel" or "4 ulp". "abs" is in the SI unit of the quantity,
// or in degrees, decibels and the like if the check compares those.
type Tolerance struct {
	Value float64
	Kind  string // "exact", "abs", "rel", "ulp"
}

// String is the tolerance as it is written in the index.
func (tol Tolerance) String() string {
	if tol.Kind == "exact" {
		return tol.Kind
	}
	return fmt.Sprint(tol.Value, " ", tol.Kind)
}

// Near checks a number against the reference value of the id. NaN is near
// nothing, and an infinity only to itself. Extra arguments say which of several
// values of one id it is, and appear in the message.
func Near[T ~float64](t testing.TB, id string, got, want T, which ...any) {
	t.Helper()
	if e, ok := lookup(t, id); ok {
		e.near(t, float64(got), float64(want), which)
	}
}

func (e Entry) near(t testing.TB, got, want float64, which []any) {
	t.Helper()
	allowed := e.Tolerance.Value // 0 if exact
	switch e.Tolerance.Kind {
	case "ulp":
		near.ULP(t, e.label(which), got, want, uint64(allowed), e.basis())
		return
	case "rel":
		allowed *= math.Abs(want)
	}
	if off := math.Abs(got - want); got != want && !(off <= allowed && !math.IsInf(off, 0)) {
		t.Errorf("%s: got %.17g, want %.17g: off by %.3g, allowed %.3g, %s", e.label(which), got, want, off, allowed, e.basis())
	}
}

// Equal checks a value that has no tolerance: a count, a label, a yes or no.
func Equal[T comparable](t testing.TB, id string, got, want T, which ...any) {
	t.Helper()
	if e, ok := lookup(t, id); ok && e.has(t, "exact") && got != want {
		t.Errorf("%s: got %v, want %v, %s", e.label(which), got, want, e.basis())
	}
}

// Within checks a measured error against the tolerance of the id: for sets of
// reference points compared one by one, where the largest error counts. The
// tolerance must be absolute.
func Within(t testing.TB, id string, err float64, which ...any) {
	t.Helper()
	if e, ok := lookup(t, id); ok && e.has(t, "abs") && !(err >= 0 && err <= e.Tolerance.Value) {
		t.Errorf("%s: error %.3g, %s", e.label(which), err, e.basis())
	}
}

// has fails the test unless the tolerance is of a kind.
func (e Entry) has(t testing.TB, kind string) bool {
	t.Helper()
	if e.Tolerance.Kind != kind {
		t.Errorf("%s: the check needs a tolerance of kind %s, the index gives %s", e.ID, kind, e.Tolerance)
	}
	return e.Tolerance.Kind == kind
}

// basis says what the check rests on.
func (e Entry) basis() string {
	return fmt.Sprintf("%s (%s); %s: %s", e.Tolerance, e.Reason, e.Provenance, e.Source)
}

func (e Entry) label(which []any) string {
	if len(which) == 0 {
		return e.ID
	}
	return e.ID + " (" + strings.TrimSuffix(fmt.Sprintln(which...), "\n") + ")"
}

var load = sync.OnceValues(func() (map[string]Entry, error) {
	root, err := ModuleRoot()
	if err != nil {
		return nil, err
	}
	f, err := os.Open(filepath.Join(root, "testdata", "references.csv"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	entries, err := Read(f)
	if err != nil {
		return nil, err
	}
	index := make(map[string]Entry, len(entries))
	for _, e := range entries {
		index[e.ID] = e
	}
	return index, nil
})

func lookup(t testing.TB, id string) (Entry, bool) {
	t.Helper()
	index, err := load()
	if err != nil {
		t.Fatalf("reference index: %v", err)
	}
	e, ok := index[id]
	if !ok {
		t.Errorf("reference %q is not in testdata/references.csv", id)
		return e, false
	}
	if pkg := callingPackage(); pkg != e.Package {
		t.Errorf("reference %q belongs to package %s, but a test of %s uses it", id, e.Package, pkg)
		return e, false
	}
	return e, true
}

// callingPackage returns the package, below the module, of the test that
// called this package.
func callingPackage() string {
	pcs := make([]uintptr, 16)
	frames := runtime.CallersFrames(pcs[:runtime.Callers(2, pcs)])
	for {
		f, more := frames.Next()
		if path, ok := strings.CutPrefix(f.Function, Module+"/"); ok && !strings.HasPrefix(path, "internal/ref.") {
			slash := strings.LastIndexByte(path, '/') + 1
			if dot := strings.IndexByte(path[slash:], '.'); dot >= 0 {
				path = path[:slash+dot]
			}
			return strings.TrimSuffix(path, "_test")
		}
		if !more {
			return ""
		}
	}
}

// ModuleRoot returns the folder of go.mod. It searches upwards from the
// working folder, which in a test is the folder of the package.
func ModuleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("no go.mod in the working folder or above it")
		}
		dir = up
	}
}

var header = []string{"id", "package", "identifier", "source", "provenance", "tolerance", "reason"}

// Read parses an index and checks each row. Every field is filled, except the
// source of a common practice. The provenance is one of the constants, the
// tolerance parses, and no id is used twice.
func Read(r io.Reader) ([]Entry, error) {
	cr := csv.NewReader(r)
	cr.FieldsPerRecord = len(header)
	records, err := cr.ReadAll()
	if err != nil {
		return nil, err
	}
	if len(records) == 0 || strings.Join(records[0], ",") != strings.Join(header, ",") {
		return nil, fmt.Errorf("the first line must be %s", strings.Join(header, ","))
	}
	var entries []Entry
	var faults []error
	seen := map[string]bool{}
	for _, rec := range records[1:] {
		e, err := parse(rec)
		if err == nil && seen[e.ID] {
			err = errors.New("the id is used twice")
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("reference %q: %w", rec[0], err))
			continue
		}
		seen[e.ID] = true
		entries = append(entries, e)
	}
	return entries, errors.Join(faults...)
}

func parse(rec []string) (Entry, error) {
	for i, field := range rec {
		rec[i] = strings.TrimSpace(field)
	}
	e := Entry{ID: rec[0], Package: rec[1], Identifiers: strings.Fields(rec[2]), Source: rec[3], Provenance: rec[4], Reason: rec[6]}
	for i, field := range rec {
		switch {
		case field == "" && !(header[i] == "source" && e.Provenance == Common):
			return e, fmt.Errorf("no %s", header[i])
		case header[i] == "source" && field != "" && e.Provenance == Common:
			return e, errors.New("a common practice has no source")
		}
	}
	switch e.Provenance {
	case Published, Memory, Common, Peer, Derived:
	default:
		return e, fmt.Errorf("provenance %q: must be %s, %s, %s, %s or %s", e.Provenance, Published, Memory, Common, Peer, Derived)
	}
	var err error
	e.Tolerance, err = parseTolerance(rec[5])
	return e, err
}

func parseTolerance(s string) (Tolerance, error) {
	if s == "exact" {
		return Tolerance{Kind: "exact"}, nil
	}
	number, kind, _ := strings.Cut(s, " ")
	v, err := strconv.ParseFloat(number, 64)
	ok := err == nil && v > 0 && !math.IsInf(v, 0)
	switch kind {
	case "abs":
	case "rel":
		ok = ok && v < 1
	case "ulp":
		ok = ok && v == math.Trunc(v) && v <= 1<<20
	default:
		ok = false
	}
	if !ok {
		return Tolerance{}, fmt.Errorf(`tolerance %q: must be like "exact", "5e-9 abs", "1e-12 rel" or "4 ulp"`, s)
	}
	return Tolerance{Value: v, Kind: kind}, nil
}
