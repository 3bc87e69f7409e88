// Package kinds has a line for every kind of change.
package kinds

import "math"

type point struct{ x, y float64 }

var turn = 2 * math.Pi

const one = 1

const none, first, below = 0, 1, -1.5

func orders(a, b int) bool     { return a < b || a >= b && a == b }
func bits(a, b uint) uint      { return a<<b | a%b }
func text(a, b string) bool    { return a+b != text2(b, a) }
func text2(a, b string) string { return a }

func (p *point) assign(q point) {
	p.x, p.y = q.x, q.y
	p.x *= q.y
	*p = q
	p.assign(q)
	s, c := math.Sincos(q.x)
	_ = s / c
}

func calls(a, b float64) (x, y float64) {
	if !math.IsNaN(a) {
		return math.Atan2(b, -a), math.Floor(max(a, b))
	}
	if math.IsInf(a, -1) {
		a = 1e20
	}
	return a, math.Hypot(b, a)
}

func found(a float64) (float64, bool) {
	if a == 0 {
		return 1, false
	}
	return 1 * a / one, a > 0
}

func literals(a, b float64) []point {
	list := make([]point, 0, 9)
	for i := range [3]point{} {
		i++
		list = append(list, point{a, b}, point{x: b, y: a}, point{y: float64(i)})
	}
	switch {
	case a == b:
		panic("equal")
	}
	return list
}
