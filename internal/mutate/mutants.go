package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"go/ast"
	"go/build"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// listed is what go list says of a package.
type listed struct {
	ImportPath, Dir, Export         string
	DepOnly                         bool
	GoFiles                         []string
	TestGoFiles, XTestGoFiles       []string
	Deps, TestImports, XTestImports []string
	Module                          *struct{ Dir string }
}

func (l listed) suite() *suite {
	return &suite{path: l.ImportPath, dir: l.Dir, untested: len(l.TestGoFiles)+len(l.XTestGoFiles) == 0}
}

// module holds the packages that were asked for.
type module struct {
	root     string
	packages []*source
	all      []listed // every package, once an importer was asked for
	suites   map[string]*suite
}

// source is a package as parsed and checked.
type source struct {
	name  string // below the module's root
	suite *suite

	fset   *token.FileSet
	config types.Config
	files  []*ast.File
	names  []string // of files, below the module's root
	texts  map[string][]byte
	info   *types.Info
}

const fields = "-json=ImportPath,Dir,Export,DepOnly,GoFiles,TestGoFiles,XTestGoFiles,Deps,TestImports,XTestImports,Module"

// load parses and checks packages of one module.
func load(ctx context.Context, patterns []string) (*module, error) {
	all, err := goList(ctx, append([]string{"-export", "-deps", fields}, patterns...)...)
	if err != nil {
		return nil, err
	}
	m := &module{suites: map[string]*suite{}}
	exports := map[string]string{}
	for _, l := range all {
		exports[l.ImportPath] = l.Export
	}
	fset := token.NewFileSet()
	open := func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) }
	config := types.Config{
		Importer: importer.ForCompiler(fset, "gc", open),
		Sizes:    types.SizesFor("gc", build.Default.GOARCH),
	}
	for _, l := range all {
		if l.DepOnly || l.Module == nil {
			continue
		}
		m.root = l.Module.Dir
		name, err := filepath.Rel(m.root, l.Dir)
		if err != nil {
			return nil, err
		}
		s := l.suite()
		m.suites[l.ImportPath] = s
		pkg := &source{name: filepath.ToSlash(name), suite: s, fset: fset, config: config, texts: map[string][]byte{}}
		if err := pkg.parse(l.Dir, l.GoFiles); err != nil {
			return nil, err
		}
		m.packages = append(m.packages, pkg)
	}
	return m, nil
}

// path of a file whose name starts at the module's root.
func (m *module) path(name string) string { return filepath.Join(m.root, filepath.FromSlash(name)) }

// holds says whether a file is of one of the packages.
func (m *module) holds(file string) bool {
	dir := filepath.ToSlash(filepath.Dir(file))
	return slices.ContainsFunc(m.packages, func(p *source) bool { return p.name == dir })
}

// importersOf lists the packages of the module that import one, or whose tests
// do.
func (m *module) importersOf(ctx context.Context, path string) ([]*suite, error) {
	if m.all == nil {
		var err error
		if m.all, err = goList(ctx, "-C", m.root, fields, "./..."); err != nil {
			return nil, err
		}
	}
	var suites []*suite
	for _, l := range m.all {
		if slices.Contains(slices.Concat(l.Deps, l.TestImports, l.XTestImports), path) && l.ImportPath != path {
			if m.suites[l.ImportPath] == nil {
				m.suites[l.ImportPath] = l.suite()
			}
			suites = append(suites, m.suites[l.ImportPath])
		}
	}
	return suites, nil
}

func (p *source) parse(dir string, names []string) error {
	for _, base := range names {
		text, err := os.ReadFile(filepath.Join(dir, base))
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(p.name+"/"+base, "./")
		file, err := parser.ParseFile(p.fset, name, text, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		p.files, p.names, p.texts[name] = append(p.files, file), append(p.names, name), text
	}
	p.info = &types.Info{
		Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}, Defs: map[*ast.Ident]types.Object{},
	}
	_, err := p.config.Check(p.suite.path, p.fset, p.files, p.info)
	return err
}

// apply gives the text of a changed file.
func (p *source) apply(m mutant) []byte {
	text := p.texts[m.file]
	return slices.Concat(text[:m.from], []byte(m.text), text[m.to:])
}

// compiles says whether a change passes the type checker.
func (p *source) compiles(m mutant) bool {
	file, err := parser.ParseFile(p.fset, m.file, p.apply(m), parser.SkipObjectResolution)
	if err != nil {
		return false
	}
	files := slices.Clone(p.files)
	files[slices.Index(p.names, m.file)] = file
	_, err = p.config.Check(p.suite.path, p.fset, files, nil)
	return err == nil
}

// mutant is one change of one file: bytes from to to become text.
type mutant struct {
	file          string // below the module's root, with slashes
	line          int
	function      string // or the name of what is declared
	before, after string // the lines that it changes, in one
	from, to      int
	text          string
	rank          uint64 // its place in a sample
}

func (m mutant) String() string {
	return fmt.Sprintf("%s:%d %s\n- %s\n+ %s\n", m.file, m.line, m.function, m.before, m.after)
}

func (m mutant) compare(other mutant) int {
	return cmp.Or(cmp.Compare(m.file, other.file), cmp.Compare(m.from, other.from), cmp.Compare(m.text, other.text))
}

// mutants lists the changes of a package in the order of a sample. The order
// hangs on what a change says, not on where it stands: an edit of the package
// leaves most of a sample as it was.
func (p *source) mutants(seed uint64) []mutant {
	l := &lister{source: p, signed: map[ast.Expr]bool{}, fixed: map[ast.Expr]bool{}}
	for i, file := range p.files {
		l.name, l.file = p.names[i], p.fset.File(file.FileStart)
		for _, decl := range file.Decls {
			switch decl := decl.(type) {
			case *ast.FuncDecl:
				l.function = functionName(decl)
				if decl.Body != nil {
					ast.Inspect(decl.Body, l.visit)
				}
			case *ast.GenDecl:
				for _, spec := range decl.Specs {
					if v, ok := spec.(*ast.ValueSpec); ok {
						l.function = v.Names[0].Name
						ast.Inspect(v, l.visit)
					}
				}
			}
		}
	}
	seen := map[string]int{}
	for i := range l.all {
		m := &l.all[i]
		key := fmt.Sprintf("%d\n%s\n%s\n%s\n%s\n", seed, m.file, m.function, m.before, m.after)
		sum := sha256.Sum256(fmt.Appendf(nil, "%s%d", key, seen[key]))
		seen[key]++
		m.rank = binary.BigEndian.Uint64(sum[:])
	}
	slices.SortFunc(l.all, func(a, b mutant) int { return cmp.Compare(a.rank, b.rank) })
	return l.all
}

// functionName gives F, or T.F for a method.
func functionName(f *ast.FuncDecl) string {
	if f.Recv == nil {
		return f.Name.Name
	}
	t := f.Recv.List[0].Type
	for {
		switch u := t.(type) {
		case *ast.StarExpr:
			t = u.X
		case *ast.IndexExpr:
			t = u.X
		case *ast.IndexListExpr:
			t = u.X
		case *ast.Ident:
			return u.Name + "." + f.Name.Name
		default:
			return f.Name.Name
		}
	}
}
