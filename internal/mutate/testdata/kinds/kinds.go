// Package kinds has one line for each kind of change.
package kinds

import "math"

type point struct{ x, y float64 }

var scale = 3.0 * math.Pi

func (p *point) turn(angle float64) (x, y float64) {
	s, c := math.Sincos(angle)
	p.x, p.y = p.x*c-p.y*s, p.x*s+p.y*c
	return p.x, p.y
}

func heading(x, y float64) float64 { return math.Atan2(x, -y) }

func inside(n int, p point) bool {
	if !(n < 1) && n <= 7 || n == 0 {
		return true
	}
	for i := 0; i < n; i++ {
		n -= i
	}
	list := make([]int, 0, 9)
	clear(list)
	return math.Sin(p.x) > float64(max(n, 2)) && p != point{0, 1} && p != point{x: p.y, y: p.x}
}

func text(a, b string) string { return a + b + text(b, a) }
