package trace

import (
	"fmt"
	"math"
	"strconv"

	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
)

// Shift is how far a picture moved since the frame before, in pixels: x to the right
// and y down. ErrorX and ErrorY are standard uncertainties, one standard deviation.
// Known is false, and all else 0, if the two frames do not tell: they are flat, as a
// sky, or show different things.
type Shift struct {
	X, Y, ErrorX, ErrorY float64
	Known                bool
}

// checkShifts checks the shifts of a take and counts those that are known.
func checkShifts(c *valid.Checker, shifts []Shift) (known int) {
	for i, s := range shifts {
		if !s.Known {
			continue
		}
		known++
		if !(math.Abs(s.X) <= 1e6 && math.Abs(s.Y) <= 1e6) {
			c.Fault("shifts["+strconv.Itoa(i)+"]", "not a shift", "must be within ±1e6 px")
			break
		}
	}
	return known
}

// ShiftMeter measures the shift between successive frames. It keeps the last one as the
// means of square blocks, 256 of them at most along the longer side. A ShiftMeter is not
// safe for concurrent use.
type ShiftMeter[T Sample] struct {
	frame         int
	width, height int
	block         int
	w, h          int // blocks across and down
	last, now     []float64
	scratch       []float64
}

// Add takes one channel of the next frame and gives its shift from the one before; that
// of the first frame is not Known. Shifts up to 4 blocks along x and y are found.
//
//	0 = Σ ∇(now + shifted last) · (now − shifted last)
//
// The sum is over the blocks of the picture. A picture that turns, or grows as one comes
// nearer, gives the mean of its movement. The uncertainty comes from how 64 parts of the
// picture differ.
//
// A frame of another size than the first, one below 64 × 64 px, and samples that are not
// finite or beyond ±10⁶ are errors. Such a frame does not count.
func (m *ShiftMeter[T]) Add(frame Plane[T]) (Shift, error) {
	c := newChecker()
	if m == nil {
		return Shift{}, c.Refuse("shift meter", "nil", "must be one")
	}
	name := fmt.Sprintf("frame %d", m.frame)
	frame.Check(c, name, 64)
	if !c.OK() {
		return Shift{}, c.Err()
	}
	if m.frame == 0 {
		m.width, m.height = frame.Width, frame.Height
		m.block = max(1, (max(m.width, m.height)+255)/256)
		m.w, m.h = m.width/m.block, m.height/m.block
		m.last, m.now, m.scratch = make([]float64, m.w*m.h), make([]float64, m.w*m.h), make([]float64, m.w*m.h)
	}
	if frame.Width != m.width || frame.Height != m.height {
		return Shift{}, c.Refuse(name, fmt.Sprintf("%d × %d px", frame.Width, frame.Height), "must be %d × %d px, as those before", m.width, m.height)
	}
	if min(m.w, m.h) < 32 {
		return Shift{}, c.Refuse(name, fmt.Sprintf("%d × %d px", frame.Width, frame.Height), "must be at most 8 times as long as wide")
	}
	if y := m.reduce(frame); y >= 0 {
		return Shift{}, c.Refuse(fmt.Sprintf("%s, row %d", name, y), "a sample", "must be finite and within ±1e6")
	}
	var s Shift
	if m.frame > 0 {
		s = m.shift()
	}
	m.now, m.last = m.last, m.now
	m.frame++
	return s, nil
}

// reduce fills now with the means of blocks, blurred a little, or gives the row of a
// sample that is not allowed.
func (m *ShiftMeter[T]) reduce(frame Plane[T]) (bad int) {
	clear(m.scratch)
	scale := 1 / (plane.FullScale[T]() * float64(m.block) * float64(m.block))
	for y := range m.height {
		row, step := frame.Row(y)
		into := m.scratch[min(y/m.block, m.h-1)*m.w:][:m.w]
		whole := y/m.block < m.h
		for b := range m.w {
			sum := 0.0
			for x := b * m.block; x < (b+1)*m.block; x++ {
				sum += float64(row[x*step])
			}
			if !(math.Abs(sum) <= 1e6*float64(m.block)) {
				return y
			}
			if whole {
				into[b] += sum * scale
			}
		}
		for x := m.w * m.block; x < m.width; x++ { // beside the last block
			if !(math.Abs(float64(row[x*step])) <= 1e6) {
				return y
			}
		}
	}
	// ¼, ½, ¼ along rows and columns; the edge stays.
	for y := range m.h {
		for x := range m.w {
			i := y*m.w + x
			l, r := max(x-1, 0)-x, min(x+1, m.w-1)-x
			m.now[i] = (m.scratch[i+l] + 2*m.scratch[i] + m.scratch[i+r]) / 4
		}
	}
	copy(m.scratch, m.now)
	for y := range m.h {
		u, d := max(y-1, 0)*m.w, min(y+1, m.h-1)*m.w
		for x := range m.w {
			m.now[y*m.w+x] = (m.scratch[u+x] + 2*m.scratch[y*m.w+x] + m.scratch[d+x]) / 4
		}
	}
	return -1
}

// look is how many blocks a shift is looked for either way, and edge is what stays out
// around the picture for that.
const look, edge = 4, 7

// shift measures how far last has to move to look like now.
func (m *ShiftMeter[T]) shift() Shift {
	// The best whole number of blocks, by every other block.
	best := math.Inf(1)
	var sx, sy float64
	for dy := -look; dy <= look; dy++ {
		for dx := -look; dx <= look; dx++ {
			sum := 0.0
			for y := edge; y < m.h-edge; y += 2 {
				a, b := m.now[y*m.w:], m.last[(y-dy)*m.w-dx:]
				for x := edge; x < m.w-edge; x += 2 {
					sum += (a[x] - b[x]) * (a[x] - b[x])
				}
			}
			if sum < best {
				best, sx, sy = sum, float64(dx), float64(dy)
			}
		}
	}
	for range 12 {
		xx, xy, yy, bx, by, _, ok := m.normal(sx, sy)
		det := xx*yy - xy*xy
		if !ok || !(det > 0) {
			return Shift{}
		}
		dx, dy := (bx*yy-by*xy)/det, (by*xx-bx*xy)/det
		sx += math.Max(-1, math.Min(1, dx))
		sy += math.Max(-1, math.Min(1, dy))
		if math.Abs(sx) >= look+1 || math.Abs(sy) >= look+1 { // more than edge has room for
			return Shift{}
		}
		if math.Abs(dx)+math.Abs(dy) < 1e-5 {
			break
		}
	}
	xx, xy, yy, _, _, parts, ok := m.normal(sx, sy)
	if !ok {
		return Shift{}
	}
	det := xx*yy - xy*xy
	var ex, ey float64
	for _, p := range parts {
		dx, dy := (p[0]*yy-p[1]*xy)/det, (p[1]*xx-p[0]*xy)/det
		ex += dx * dx
		ey += dy * dy
	}
	const some = float64(tiles*tiles) / (tiles*tiles - 2)
	ex, ey = math.Sqrt(some*ex), math.Sqrt(some*ey)
	if !(ex < 0.25 && ey < 0.25) {
		return Shift{}
	}
	px := float64(m.block)
	return Shift{X: sx * px, Y: sy * px, ErrorX: ex * px, ErrorY: ey * px, Known: true}
}

// tiles is the number of parts of a picture across and down.
const tiles = 8

// normal gives the normal equations of a further shift, and the right side by parts. ok
// is false if the gradients of both frames agree no better than noise.
func (m *ShiftMeter[T]) normal(sx, sy float64) (xx, xy, yy, bx, by float64, parts [tiles * tiles][2]float64, ok bool) {
	// The shifted last frame, read by cubics.
	fx, fy := math.Floor(-sx), math.Floor(-sy)
	wx, wy := cubic(-sx-fx), cubic(-sy-fy)
	moved := m.scratch
	for y := edge - 1; y <= m.h-edge; y++ {
		for x := edge - 1; x <= m.w-edge; x++ {
			sum := 0.0
			for j, v := range wy {
				row := m.last[(y+int(fy)+j-1)*m.w+x+int(fx)-1:][:4]
				sum += v * (wx[0]*row[0] + wx[1]*row[1] + wx[2]*row[2] + wx[3]*row[3])
			}
			moved[y*m.w+x] = sum
		}
	}
	var nn, ll float64
	for y := edge; y < m.h-edge; y++ {
		for x := edge; x < m.w-edge; x++ {
			i := y*m.w + x
			nx, ny := (m.now[i+1]-m.now[i-1])/2, (m.now[i+m.w]-m.now[i-m.w])/2
			lx, ly := (moved[i+1]-moved[i-1])/2, (moved[i+m.w]-moved[i-m.w])/2
			// Products of both frames are free of noise in their mean.
			xx += nx * lx
			yy += ny * ly
			xy += (nx*ly + ny*lx) / 2
			nn += nx*nx + ny*ny
			ll += lx*lx + ly*ly
			d := moved[i] - m.now[i]
			px, py := (nx+lx)/2*d, (ny+ly)/2*d
			bx += px
			by += py
			part := &parts[(y-edge)*tiles/(m.h-2*edge)*tiles+(x-edge)*tiles/(m.w-2*edge)]
			part[0] += px
			part[1] += py
		}
	}
	ok = xx > 0 && yy > 0 && xx+yy > 0.25*math.Sqrt(nn*ll)
	return
}

// cubic gives the weights of four samples at a fraction after the second (Lagrange).
func cubic(f float64) [4]float64 {
	return [4]float64{
		-f * (f - 1) * (f - 2) / 6, (f + 1) * (f - 1) * (f - 2) / 2,
		-(f + 1) * f * (f - 2) / 2, (f + 1) * f * (f - 1) / 6,
	}
}
