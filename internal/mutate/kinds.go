package main

import (
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"strings"
)

// operators gives what each operator is changed to.
var operators = map[token.Token][]token.Token{
	token.LSS: {token.LEQ, token.GEQ},
	token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ},
	token.GEQ: {token.GTR, token.LSS},
	token.EQL: {token.NEQ},
	token.NEQ: {token.EQL},

	token.ADD: {token.SUB}, token.SUB: {token.ADD},
	token.MUL: {token.QUO}, token.QUO: {token.MUL}, token.REM: {token.QUO},
	token.AND: {token.OR}, token.OR: {token.AND},
	token.SHL: {token.SHR}, token.SHR: {token.SHL},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},

	token.ADD_ASSIGN: {token.SUB_ASSIGN}, token.SUB_ASSIGN: {token.ADD_ASSIGN},
	token.MUL_ASSIGN: {token.QUO_ASSIGN}, token.QUO_ASSIGN: {token.MUL_ASSIGN},
	token.INC: {token.DEC}, token.DEC: {token.INC},
}

// twins gives the function that is called in place of another.
var twins = map[string]string{
	"math.Sin": "math.Cos", "math.Cos": "math.Sin",
	"math.Floor": "math.Ceil", "math.Ceil": "math.Floor",
	"math.Max": "math.Min", "math.Min": "math.Max", "max": "min", "min": "max",
}

// commutative lists functions that swapped arguments do not change.
var commutative = map[string]bool{
	"math.FMA": true, "math.Hypot": true, "math.Max": true, "math.Min": true, "max": true, "min": true,
	"r2.Add": true, "r2.Dot": true, "r3.Add": true, "r3.Dot": true,
	"append": true, "copy": true, "make": true,
}

// lister collects the changes of a file.
type lister struct {
	*source
	name     string
	file     *token.File
	function string
	all      []mutant

	signed, fixed map[ast.Expr]bool // literals below a minus; those whose size says nothing
}

// add notes that the text from a position to another becomes another text.
func (l *lister) add(from, to token.Pos, text string) {
	source := string(l.texts[l.name])
	m := mutant{
		file: l.name, line: l.file.Line(from), function: l.function,
		from: l.file.Offset(from), to: l.file.Offset(to), text: text,
	}
	start := strings.LastIndexByte(source[:m.from], '\n') + 1
	end := len(source)
	if i := strings.IndexByte(source[m.to:], '\n'); i >= 0 {
		end = m.to + i
	}
	m.before = oneLine(source[start:end])
	m.after = oneLine(source[start:m.from] + text + source[m.to:end])
	l.all = append(l.all, m)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// text of a node.
func (l *lister) text(n ast.Node) string {
	return string(l.texts[l.name][l.file.Offset(n.Pos()):l.file.Offset(n.End())])
}

// visit lists the changes of one node.
func (l *lister) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.ArrayType:
		ast.Inspect(n.Elt, l.visit) // another length does not compile, or is not seen
		return false
	case *ast.BinaryExpr:
		byOne := (n.Op == token.MUL || n.Op == token.QUO) && l.isOne(n.Y) // such as unit.Metre
		if !byOne && !l.is(n, types.IsString) {
			l.operator(n.Op, n.OpPos)
		}
	case *ast.UnaryExpr:
		switch n.Op {
		case token.NOT:
			l.add(n.OpPos, n.OpPos+1, "")
		case token.SUB:
			l.add(n.OpPos, n.OpPos+1, "+")
			l.signed[n.X] = true
		}
	case *ast.IncDecStmt:
		l.operator(n.Tok, n.TokPos)
	case *ast.BasicLit:
		l.literal(n)
	case *ast.Ident:
		if b, ok := l.info.Uses[n].(*types.Builtin); ok {
			l.twin(n, b.Name())
		}
	case *ast.SelectorExpr:
		l.foreign(n)
	case *ast.AssignStmt:
		l.operator(n.Tok, n.TokPos)
		l.pairs(n.Rhs)
		if len(n.Rhs) == 1 {
			l.pairs(n.Lhs)
		}
	case *ast.ReturnStmt:
		l.pairs(n.Results)
		if last := len(n.Results) - 1; last > 0 && l.text(n.Results[last]) == "false" {
			for _, e := range n.Results { // they say nothing
				l.fixed[e], l.signed[e] = true, true
			}
		}
	case *ast.CallExpr:
		l.call(n)
	case *ast.CompositeLit:
		l.composite(n)
	case *ast.BlockStmt:
		l.statements(n.List)
	case *ast.CaseClause:
		l.statements(n.Body)
	case *ast.CommClause:
		l.statements(n.Body)
	}
	return true
}

// is says whether the type of e is basic, and of a kind.
func (l *lister) is(e ast.Expr, kind types.BasicInfo) bool {
	t, ok := l.info.TypeOf(e).Underlying().(*types.Basic)
	return ok && t.Info()&kind != 0
}

func (l *lister) isOne(e ast.Expr) bool {
	v := l.info.Types[e].Value
	return v != nil && v.Kind() != constant.String && v.Kind() != constant.Bool && constant.Compare(v, token.EQL, constant.MakeInt64(1))
}

func (l *lister) operator(op token.Token, at token.Pos) {
	for _, other := range operators[op] {
		l.add(at, at+token.Pos(len(op.String())), other.String())
	}
}

// literal doubles a number, adds 1 and turns its sign.
func (l *lister) literal(n *ast.BasicLit) {
	if n.Kind != token.INT && n.Kind != token.FLOAT {
		return
	}
	value, _ := constant.Float64Val(constant.ToFloat(constant.MakeFromLiteral(n.Value, n.Kind, 0)))
	if !l.fixed[n] {
		if value != 0 && value != 1 {
			l.add(n.Pos(), n.End(), "("+n.Value+" * 2)")
		}
		if value < 1e4 || l.is(n, types.IsInteger) { // more would not be noticed
			l.add(n.Pos(), n.End(), "("+n.Value+" + 1)")
		}
	}
	if value != 0 && !l.signed[n] {
		l.add(n.Pos(), n.End(), "(-"+n.Value+")")
	}
}

// foreign doubles a constant of another package, or calls another function.
func (l *lister) foreign(n *ast.SelectorExpr) {
	switch l.info.Uses[n.Sel].(type) {
	case *types.Const:
		if l.is(n, types.IsNumeric) {
			l.add(n.Pos(), n.End(), "("+l.text(n)+" * 2)")
		}
	case *types.Func:
		l.twin(n, l.text(n))
	}
}

func (l *lister) twin(n ast.Node, name string) {
	if other := twins[name]; other != "" {
		l.add(n.Pos(), n.End(), other)
	}
}

func (l *lister) call(n *ast.CallExpr) {
	fun := l.text(n.Fun)
	switch {
	case fun == "make" && len(n.Args) == 3: // a capacity
		l.fixed[n.Args[2]] = true
	case fun == "math.Inf" || fun == "math.IsInf": // a sign
		sign := n.Args[len(n.Args)-1]
		if minus, ok := sign.(*ast.UnaryExpr); ok {
			sign = minus.X
		}
		l.fixed[sign] = true
	}
	if !l.info.Types[n.Fun].IsType() && !commutative[fun] {
		l.pairs(n.Args)
	}
}

func (l *lister) composite(n *ast.CompositeLit) {
	if _, ok := l.info.TypeOf(n).Underlying().(*types.Struct); !ok {
		return
	}
	values := make([]ast.Expr, len(n.Elts))
	for i, e := range n.Elts {
		values[i] = e
		if kv, ok := e.(*ast.KeyValueExpr); ok {
			values[i] = kv.Value
		}
	}
	l.pairs(values)
}

// pairs swaps neighbours of one type.
func (l *lister) pairs(list []ast.Expr) {
	for i := 1; i < len(list); i++ {
		a, b := list[i-1], list[i]
		s, t := l.text(a), l.text(b)
		if s == t || s == "_" || t == "_" || !swappable(l.info.TypeOf(a), l.info.TypeOf(b)) {
			continue
		}
		between := string(l.texts[l.name][l.file.Offset(a.End()):l.file.Offset(b.Pos())])
		l.add(a.Pos(), b.End(), t+between+s)
	}
}

func swappable(a, b types.Type) bool {
	if a == nil || b == nil || !types.Identical(a, b) {
		return false
	}
	if _, ok := a.(*types.TypeParam); ok {
		return true
	}
	switch u := a.Underlying().(type) {
	case *types.Basic:
		return u.Info()&types.IsNumeric != 0
	case *types.Struct, *types.Array, *types.Slice:
		return true
	}
	return false
}

// statements skips what assigns, and what calls for the effect.
func (l *lister) statements(list []ast.Stmt) {
	for _, s := range list {
		switch s := s.(type) {
		case *ast.AssignStmt:
			for _, e := range s.Lhs {
				if l.text(e) != "_" && s.Tok != token.DEFINE {
					l.skip(s)
					break
				}
			}
		case *ast.ExprStmt:
			if call, ok := s.X.(*ast.CallExpr); ok && l.text(call.Fun) != "panic" {
				l.skip(s)
			}
		}
	}
}

// skip leaves the statement in the text, so that what it names stays in use.
func (l *lister) skip(s ast.Stmt) {
	l.add(s.Pos(), s.End(), "if false { "+l.text(s)+" }")
}
