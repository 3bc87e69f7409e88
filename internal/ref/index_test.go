package ref

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// five are the packages of which none imports another. The exported functions in
// their folders and below must be checked.
var five = []string{"projection", "sensor", "lens", "wall", "sync"}

// exempt names what is exported, returns something, and yet computes no
// quantity that a source outside the project could give. Each has its reason.
var exempt = map[string]string{
	"projection/warp.Frame.Row":      "a window on the caller's own samples",
	"projection/warp.Frame.Still":    "the caller's own frame",
	"projection/warp.Frame.Channels": "what the caller gave",
}

// TestEveryQuantityHasAReferenceCheck keeps the index true: what is exported
// and computes is checked, and what the index names exists and is used.
func TestEveryQuantityHasAReferenceCheck(t *testing.T) {
	root, err := ModuleRoot()
	require.NoError(t, err)
	f, err := os.Open(filepath.Join(root, "testdata", "references.csv"))
	require.NoError(t, err)
	defer f.Close()
	entries, err := Read(f)
	require.NoError(t, err)
	packages := map[string]*source{}
	for _, top := range five {
		require.NoError(t, filepath.WalkDir(filepath.Join(root, top), func(path string, d fs.DirEntry, err error) error {
			if err != nil || !d.IsDir() {
				return err
			}
			if d.Name() == "internal" { // for this project alone
				return fs.SkipDir
			}
			if src := parseFolder(t, path); len(src.exported) > 0 {
				name, err := filepath.Rel(root, path)
				require.NoError(t, err)
				packages[filepath.ToSlash(name)] = src
			}
			return nil
		}))
	}
	require.Contains(t, packages, "projection/warp")

	checked := map[string]bool{}
	for _, e := range entries {
		for _, fault := range faults(e, root) {
			t.Errorf("reference %s: %s (%s)", e.ID, fault, e.Source)
		}
		src := packages[e.Package]
		if src == nil {
			t.Errorf("reference %s: there is no public package %s", e.ID, e.Package)
			continue
		}
		users := src.uses[e.ID]
		if len(users) == 0 {
			t.Errorf("reference %s is used by no test of %s", e.ID, e.Package)
		}
		for _, id := range e.Identifiers {
			if !slices.Contains(src.exported, id) {
				t.Errorf("reference %s names %s.%s, which does not exist", e.ID, e.Package, id)
				continue
			}
			if len(users) > 0 && !slices.ContainsFunc(users, func(u testFunc) bool { return u.callsRef && src.calls(u, id) }) {
				t.Errorf("reference %s: no test that holds it calls %s and compares through package ref", e.ID, id)
				continue
			}
			checked[e.Package+"."+id] = true
		}
	}
	for path, src := range packages {
		for _, id := range src.computing {
			key := path + "." + id
			switch reason, ok := exempt[key]; {
			case !checked[key] && !ok:
				t.Errorf("%s has no reference check", key)
			case checked[key] && ok:
				t.Errorf("%s has a reference check: take it off the list of exemptions (%s)", key, reason)
			}
		}
		for key := range exempt {
			if id, ok := strings.CutPrefix(key, path+"."); ok && !slices.Contains(src.computing, id) {
				t.Errorf("the exemption of %s names nothing that computes", key)
			}
		}
	}
}

// letters begin the ids of a package, and of those below it that have none.
var letters = map[string]string{"projection": "P", "projection/warp": "WARP", "sensor": "S", "lens": "L", "wall": "W", "sync": "T"}

var (
	idStyle = regexp.MustCompile(`^([A-Z]+)(-[A-Z0-9]+[a-z]?)+$`)
	// place is where in a published source a number stands: in a document, or in
	// a file of a repository.
	place     = regexp.MustCompile(`(?i)\b(section|chapter|table|page|pp?\. ?\d|eq\.|equation|appendix|annex|clause|example|problem|figure|docstring)|\b[\w/-]+\.(c|cpp|h|py|js|rst|gie|list)\b`)
	secondary = regexp.MustCompile(`(?i)\b(mirror|repost|encyclop\w*|as quoted|as summarised)\b`)
	relative  = regexp.MustCompile(`(?i)^(the )?(same|examples?)\b`)
	script    = regexp.MustCompile(`testdata/generate/[\w.-]+\w`)
)

// faults says what is wrong with a row that parses.
func faults(e Entry, root string) (faults []string) {
	id := idStyle.FindStringSubmatch(e.ID)
	letter := letters[e.Package]
	if letter == "" {
		letter = letters[path.Dir(e.Package)]
	}
	if id == nil || id[1] != letter {
		faults = append(faults, "an id of "+e.Package+" is like "+letter+"-T1 or "+letter+"-TABLE-RIM")
	}
	if relative.MatchString(e.Source) {
		faults = append(faults, "the source names another row's, not its own")
	}
	switch e.Provenance {
	case Published:
		if !place.MatchString(e.Source) {
			faults = append(faults, "a published source names a section, table, page, equation, example, or the file of a repository")
		}
		if word := secondary.FindString(e.Source); word != "" {
			faults = append(faults, "a published source is read itself: "+word)
		}
	case Peer:
		name := script.FindString(e.Source)
		if _, err := os.Stat(filepath.Join(root, name)); name == "" || err != nil {
			faults = append(faults, "a peer's source names a script in testdata/generate that exists")
		}
	}
	return faults
}

func TestFaultsOfRows(t *testing.T) {
	root, err := ModuleRoot()
	require.NoError(t, err)
	const good = "a book, section 2"
	for _, tc := range []struct {
		e    Entry
		want string
	}{
		{Entry{ID: "L-T1", Package: "lens", Source: good, Provenance: Published}, ""},
		{Entry{ID: "L-H1c", Package: "lens", Source: good, Provenance: Published}, ""},
		{Entry{ID: "P-CV-2", Package: "projection/rig", Source: "tests/a.py (commit 1)", Provenance: Published}, ""},
		{Entry{ID: "WARP-AT", Package: "projection/warp", Source: "a book", Provenance: Memory}, ""},
		{Entry{ID: "lens-t1", Package: "lens", Source: good, Provenance: Published}, "like L-T1"},
		{Entry{ID: "W-T1", Package: "lens", Source: good, Provenance: Published}, "like L-T1"},
		{Entry{ID: "P-AT", Package: "projection/warp", Source: good, Provenance: Published}, "like WARP-T1"},
		{Entry{ID: "L-T1", Package: "lens", Source: "a book", Provenance: Published}, "names a section"},
		{Entry{ID: "L-T1", Package: "lens", Source: "example in a mirror of a page", Provenance: Published}, "read itself: mirror"},
		{Entry{ID: "L-T1", Package: "lens", Source: "same problem", Provenance: Derived}, "another row's"},
		{Entry{ID: "P-PROJ", Package: "projection", Source: "PROJ, by testdata/generate/projection-models.py", Provenance: Peer}, ""},
		{Entry{ID: "P-PROJ", Package: "projection", Source: "PROJ, by testdata/generate/nothing.py", Provenance: Peer}, "that exists"},
		{Entry{ID: "P-PROJ", Package: "projection", Source: "PROJ 9", Provenance: Peer}, "that exists"},
	} {
		got := strings.Join(faults(tc.e, root), "; ")
		assert.Equal(t, tc.want == "", got == "", "%v: %s", tc.e, got)
		assert.Contains(t, got, tc.want)
	}
}

// TestDataHasAnOrigin: the table in the README of each folder of testdata names
// every file there, with its origin and its licence.
func TestDataHasAnOrigin(t *testing.T) {
	root, err := ModuleRoot()
	require.NoError(t, err)
	folders, err := filepath.Glob(filepath.Join(root, "testdata", "*"))
	require.NoError(t, err)
	for _, folder := range append(folders, filepath.Join(root, "testdata")) {
		if info, err := os.Stat(folder); err != nil || !info.IsDir() || filepath.Base(folder) == "generate" {
			continue
		}
		readme, err := os.ReadFile(filepath.Join(folder, "README.md"))
		require.NoError(t, err)
		var patterns []string
		for line := range strings.Lines(string(readme)) {
			cells := strings.Split(strings.Trim(line, "| \n"), "|")
			if len(cells) == 4 && strings.HasPrefix(cells[0], "`") {
				for _, name := range strings.Split(cells[0], ",") {
					patterns = append(patterns, strings.Trim(name, "` "))
				}
			}
		}
		files, err := os.ReadDir(folder)
		require.NoError(t, err)
		for _, f := range files {
			named := slices.ContainsFunc(patterns, func(p string) bool {
				ok, err := filepath.Match(p, f.Name())
				require.NoError(t, err)
				return ok
			})
			assert.True(t, named || f.IsDir() || f.Name() == "README.md", "%s/README.md does not name %s", folder, f.Name())
		}
	}
}

func TestAMethodCountsBesideItsReceiver(t *testing.T) {
	s := &source{
		makers:  map[string][]string{"View": {"NewView", "wide"}},
		helpers: map[string]map[string]bool{"seen": {"View": true, "look": true}, "look": {"Project": true, "seen": true}},
	}
	for _, tc := range []struct {
		id       string
		mentions []string
		want     bool
	}{
		{"View.Project", []string{"Project"}, false},
		{"View.Project", []string{"Project", "NewWall"}, false},
		{"View.Project", []string{"Project", "View"}, true},
		{"View.Project", []string{"Project", "wide"}, true},
		{"View.Project", []string{"NewView"}, false},
		{"Project", []string{"Project"}, true},
		{"View.Project", []string{"seen"}, true}, // by way of helpers
		{"View.Size", []string{"seen"}, false},
	} {
		u := testFunc{mentions: map[string]bool{}}
		for _, m := range tc.mentions {
			u.mentions[m] = true
		}
		assert.Equal(t, tc.want, s.calls(u, tc.id), "%s where %v are named", tc.id, tc.mentions)
	}
}

// TestTheFiveAreIndependent parses imports: no package of the five, or below
// it, imports another of the five, and none imports what only examples may.
func TestTheFiveAreIndependent(t *testing.T) {
	root, err := ModuleRoot()
	require.NoError(t, err)
	for _, top := range five {
		err := filepath.WalkDir(filepath.Join(root, top), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") {
				return err
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			if err != nil {
				return err
			}
			test := strings.HasSuffix(path, "_test.go")
			for _, spec := range file.Imports {
				imp, _ := strconv.Unquote(spec.Path.Value)
				switch below, inside := strings.CutPrefix(imp, Module+"/"); {
				case inside:
					first, _, _ := strings.Cut(below, "/")
					if first != top && first != "internal" {
						t.Errorf("%s imports %s", path, imp)
					}
				case strings.HasPrefix(imp, "gonum.org/v1/plot"):
					t.Errorf("%s imports %s: only the examples may", path, imp)
				case strings.HasPrefix(imp, "gonum.org/v1/gonum/"):
				case strings.Contains(imp, ".") && !test:
					t.Errorf("%s imports %s: only gonum may be imported", path, imp)
				}
			}
			return nil
		})
		require.NoError(t, err)
	}
}

// source is what one package exports and what its tests use.
type source struct {
	exported  []string // "Name" and "Type.Name", functions and methods
	computing []string // those of them that compute a quantity
	uses      map[string][]testFunc
	// helpers are the functions of the test files by name, with what they mention.
	helpers map[string]map[string]bool
	// makers are the names that give a value of a type: its own, and those of
	// the functions and methods, in tests as well, that have it as a result.
	makers map[string][]string
}

// testFunc is one function of a test file.
type testFunc struct {
	mentions map[string]bool // the names it uses
	callsRef bool            // it compares through package ref
}

func parseFolder(t *testing.T, dir string) *source {
	t.Helper()
	src := &source{uses: map[string][]testFunc{}, makers: map[string][]string{}, helpers: map[string]map[string]bool{}}
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	require.NoError(t, err)
	for _, path := range files {
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		for _, decl := range file.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			switch {
			case !ok:
				continue
			case strings.HasSuffix(path, "_test.go"):
				src.addTest(fn)
			default:
				src.addFunc(fn)
			}
			src.addMaker(fn)
		}
	}
	return src
}

func (s *source) addFunc(fn *ast.FuncDecl) {
	name := fn.Name.Name
	if !fn.Name.IsExported() {
		return
	}
	if fn.Recv != nil {
		receiver := typeName(fn.Recv.List[0].Type)
		if !ast.IsExported(receiver) {
			return
		}
		name = receiver + "." + name
	}
	s.exported = append(s.exported, name)
	if computes(fn) {
		s.computing = append(s.computing, name)
	}
}

func (s *source) addMaker(fn *ast.FuncDecl) {
	if fn.Type.Results == nil {
		return
	}
	ast.Inspect(fn.Type.Results, func(n ast.Node) bool {
		if id, ok := n.(*ast.Ident); ok && id.IsExported() {
			s.makers[id.Name] = append(s.makers[id.Name], fn.Name.Name)
		}
		return true
	})
}

// calls reports whether a test, or a helper of the test files that it calls,
// names a function, or a method beside something that gives a value of its type:
// Project alone may be anybody's. It goes by names, not by types, which would
// take compiling what is tested.
func (s *source) calls(u testFunc, id string) bool {
	mentions := map[string]bool{}
	s.reach(u.mentions, mentions)
	receiver, name, method := strings.Cut(id, ".")
	if !method {
		return mentions[id]
	}
	made := mentions[receiver] || slices.ContainsFunc(s.makers[receiver], func(maker string) bool {
		return maker != name && mentions[maker]
	})
	return made && mentions[name]
}

// reach adds names to all, and what the helpers among them mention.
func (s *source) reach(names, all map[string]bool) {
	for name := range names {
		if !all[name] {
			all[name] = true
			s.reach(s.helpers[name], all)
		}
	}
}

// computes reports whether a function gives a quantity. Constructors that only
// check (New…) and the methods of printing, parsing and errors do not.
func computes(fn *ast.FuncDecl) bool {
	switch name := fn.Name.Name; {
	case strings.HasPrefix(name, "New"):
		return false
	case name == "String", name == "Error", name == "Unwrap", name == "Format",
		name == "MarshalText", name == "UnmarshalText", name == "MarshalJSON", name == "Size":
		return false
	}
	if fn.Type.Results == nil {
		return false
	}
	for _, r := range fn.Type.Results.List {
		if id, ok := r.Type.(*ast.Ident); !ok || id.Name != "error" {
			return true
		}
	}
	return false
}

// addTest notes which reference ids a test function holds. A table may stand
// in a function that the test calls, so helpers count as well.
func (s *source) addTest(fn *ast.FuncDecl) {
	tf := testFunc{mentions: map[string]bool{}}
	ids := map[string]bool{}
	ast.Inspect(fn, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			if n.Kind == token.STRING {
				if v, err := strconv.Unquote(n.Value); err == nil {
					ids[v] = true
				}
			}
		case *ast.Ident:
			tf.mentions[n.Name] = true
		case *ast.CallExpr:
			fun := n.Fun
			if ix, ok := fun.(*ast.IndexExpr); ok {
				fun = ix.X
			}
			if sel, ok := fun.(*ast.SelectorExpr); ok {
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == "ref" {
					tf.callsRef = true
				}
			}
		}
		return true
	})
	if fn.Recv == nil {
		s.helpers[fn.Name.Name] = tf.mentions
	}
	for id := range ids {
		s.uses[id] = append(s.uses[id], tf)
	}
}

func typeName(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.StarExpr:
		return typeName(e.X)
	case *ast.IndexExpr:
		return typeName(e.X)
	case *ast.IndexListExpr:
		return typeName(e.X)
	case *ast.Ident:
		return e.Name
	}
	return ""
}
