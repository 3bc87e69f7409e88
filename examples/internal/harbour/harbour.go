// Package harbour is the procedural scene of the examples: an invented harbour at dusk,
// seen from the water. It gives linear light in every direction of the stage frame.
package harbour

import (
	"math"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Scene is the harbour. The brightest part of the sky is 1; lamps are brighter. The
// finest detail is 0.05° wide, about three photosites of a plate 12288 px wide, so such
// a plate can sample it at its pixel centres.
type Scene struct {
	skyline []block   // by heading, around the whole horizon
	lights  [][]light // by block: the small lights that shine in its range of headings
}

type rgb [3]float64

// block is one building or one piece of the shore, blockWidth wide.
type block struct {
	height  float64 // elevation of its top, rad
	base    float64 // brightness of its wall
	seed    uint32
	windows bool
}

type light struct {
	dir    r3.Vec
	sigma2 float64 // variance of its disc, rad²
	colour rgb
}

const (
	blocks     = 450
	blockWidth = 2 * math.Pi / blocks
	shoreTop   = 0.075  // no building reaches higher
	lightsLow  = -0.05  // no light mirrored in the water reaches lower
	deckTop    = -0.82  // upper edge of the boat's own roof
	edge       = 0.0009 // softness of edges, 0.05°
	reach      = 3.5    // radius of a light, in standard deviations
	sunHeading = 0.35   // where the sun went down, rad to the right of the bow
)

var (
	sunDir    = projection.Direction(sunHeading, -0.01)
	zenith    = rgb{0.018, 0.035, 0.090}
	horizon   = rgb{0.16, 0.20, 0.34}
	afterglow = rgb{0.95, 0.42, 0.13}
	cloudTint = rgb{0.40, 0.20, 0.22}
	waterTint = rgb{0.010, 0.022, 0.030}
	windows   = rgb{0.95, 0.66, 0.30}
	deckTint  = rgb{0.030, 0.028, 0.026}
)

// New makes the scene. It is always the same.
func New() *Scene {
	h := &Scene{skyline: make([]block, blocks), lights: make([][]light, blocks)}
	for i := range h.skyline {
		heading := (float64(i) + 0.5) * blockWidth
		// The town lies ahead and to starboard, low hills astern, open water to port.
		town := math.Max(0, math.Cos(heading-0.9))
		hills := math.Max(0, -math.Cos(heading-0.6))
		r := random(uint32(i), 7)
		h.skyline[i] = block{
			height:  0.004 + 0.055*town*r*r + 0.022*hills*(0.7+0.3*math.Sin(heading*9)),
			base:    0.01 + 0.02*random(uint32(i), 11),
			seed:    uint32(i),
			windows: hills < 0.2 && town > 0.15,
		}
	}
	add := func(heading, elevation, degrees float64, c rgb, gain float64) {
		s := degrees * math.Pi / 180
		l := light{projection.Direction(unit.Angle(heading), unit.Angle(elevation)), s * s, rgb{c[0] * gain, c[1] * gain, c[2] * gain}}
		first := int(math.Floor((heading - reach*s) / blockWidth))
		last := int(math.Floor((heading + reach*s) / blockWidth))
		for i := first; i <= last; i++ {
			k := (i%blocks + blocks) % blocks
			h.lights[k] = append(h.lights[k], l)
		}
	}
	red, green, white := rgb{1, 0.08, 0.05}, rgb{0.06, 0.9, 0.35}, rgb{1, 0.93, 0.8}
	add(0.12, -0.018, 0.06, red, 3)
	add(-0.10, -0.018, 0.06, green, 3)
	tower := h.skyline[int(math.Floor(0.55/blockWidth))]
	add(0.55, tower.height+0.002, 0.06, white, 4) // the harbour light
	add(0.55, -0.004, 0.06, white, 1)
	add(-1.9, 0.006, 0.08, white, 2)
	add(-1.93, 0.004, 0.05, red, 2)
	for i := range 60 {
		f := float64(i)
		add(0.2+f*0.028, -0.004-0.002*random(uint32(i), 3), 0.05, white, 0.6+random(uint32(i), 5))
	}
	return h
}

// Radiance is the light from a unit direction of the stage frame: red, green and blue.
func (h *Scene) Radiance(d r3.Vec) [3]float64 {
	var c rgb
	switch {
	case d.Y > 0:
		c = h.sky(d)
	case d.Y > deckTop:
		c = h.water(d)
	default:
		c = h.deck(d)
	}
	if d.Y > lightsLow && d.Y < shoreTop {
		c = h.shore(d, c)
	}
	return c
}

// Smooth reports whether the light has no detail within a few photosites of a plate, so
// that it can be interpolated. It has some in the band along the horizon, and at the edge
// and the planks of the roof.
func (h *Scene) Smooth(d r3.Vec) bool {
	return d.Y > shoreTop+0.002 || d.Y < lightsLow-0.002 && d.Y > deckTop+0.01
}

func (h *Scene) sky(d r3.Vec) rgb {
	up := d.Y
	c, glow, fall := clearSky(d, up)
	if up > 0.03 {
		// Clouds lie on a plane above the sea and get thinner towards the horizon.
		s := 2.2 / (0.8*up + 0.12)
		n := 0.62*noise(d.X*s+3.4, d.Z*s*1.8+1.3) + 0.38*noise(d.X*s*2.7+9, d.Z*s*4.1)
		if cover := (n - 0.55) * 3.5; cover > 0 {
			cover = math.Min(cover, 0.9) * math.Min(1, (up-0.03)*9) * (1 - 0.75*up)
			for k := range c {
				c[k] += (cloudTint[k]*(0.25+1.6*glow+0.35*fall) - c[k]) * cover * 0.8
			}
		}
	}
	return c
}

func (h *Scene) water(d r3.Vec) rgb {
	down := -d.Y
	// Waves lie on the plane of the sea. Far waves average to a flat surface.
	s := 5 / (down + 0.05)
	calm := math.Min(1, down*6)
	n := noise(d.X*s, d.Z*s) - 0.5
	n += calm * 0.5 * (noise(d.X*s*2.3+40, d.Z*s*2.9) - 0.5)
	tilt := n * 0.5 * calm
	up := math.Max(0.002, down+tilt*(0.3+down))
	c, _, _ := clearSky(d, up)
	// Fresnel reflection of water, in Schlick's approximation.
	f := 1 - math.Min(1, up)
	f2 := f * f
	mirror := 0.02 + 0.98*f2*f2*f
	for k := range c {
		c[k] = c[k]*mirror*0.9 + waterTint[k]*(1+n*calm)
	}
	return c
}

// clearSky is the sky without clouds at the heading of d. up is the sine of the
// elevation. glow and fall are the parts of the light that also colour the clouds.
func clearSky(d r3.Vec, up float64) (c rgb, glow, fall float64) {
	fall = 1 / (1 + 7*up + 18*up*up)
	glow = math.Max(0, d.X*sunDir.X+d.Z*sunDir.Z+up*sunDir.Y)
	glow *= glow
	glow *= glow
	glow = (0.25*glow + glow*glow*glow) * fall
	for k := range c {
		c[k] = zenith[k] + (horizon[k]-zenith[k])*fall + afterglow[k]*glow
	}
	return c, glow, fall
}

// shore adds the buildings, hills and lights along the horizon, and their
// reflections.
func (h *Scene) shore(d r3.Vec, c rgb) rgb {
	heading := math.Atan2(d.X, -d.Z)
	if heading < 0 {
		heading += 2 * math.Pi
	}
	x := heading / blockWidth
	i := min(int(x), blocks-1)
	within := x - float64(i)
	if d.Y > -edge {
		c = h.skyline[i].over(c, d.Y, within, 1)
		// Neighbouring blocks overlap by a soft edge, so that walls are not jagged.
		if within < 0.5 {
			c = h.skyline[(i+blocks-1)%blocks].over(c, d.Y, within+1, soft(-within*blockWidth/edge))
		} else {
			c = h.skyline[(i+1)%blocks].over(c, d.Y, within-1, soft((within-1)*blockWidth/edge))
		}
	}
	for k := range h.lights[i] {
		l := &h.lights[i][k]
		x, y, z := d.X-l.dir.X, d.Y-l.dir.Y, d.Z-l.dir.Z
		if y < 0 && l.dir.Y < 0 {
			y *= 0.12 // waves stretch a reflection towards the boat
		}
		if q := (x*x + y*y + z*z) / l.sigma2; q < reach*reach {
			g := math.Exp(-q / 2)
			if d.Y < l.dir.Y && l.dir.Y < 0 {
				g *= 0.4 + 0.6*noise(d.X*40, d.Y*900)
			}
			for k := range c {
				c[k] += g * l.colour[k]
			}
		}
	}
	return c
}

// over draws the block over the light behind it, at an elevation and a position
// along its width (0 to 1), with an opacity.
func (b *block) over(c rgb, elevation, within, share float64) rgb {
	cover := share * soft((b.height-elevation)/edge)
	if elevation < 0 {
		cover *= soft(elevation/edge + 0.5)
	}
	if cover == 0 {
		return c
	}
	wall := rgb{b.base * 0.7, b.base * 0.8, b.base * 1.2}
	if b.windows {
		const storey = 0.0032 // rad
		row, col := elevation/storey, within*4
		r, k := math.Floor(row), math.Floor(col)
		if lit := random(b.seed, uint32(int(r)*64+int(k))); lit > 0.62 && r >= 1 {
			u, v := math.Abs(col-k-0.5), math.Abs(row-r-0.5)
			w := soft((0.33-u)/0.24) * soft((0.33-v)/0.28) * (lit - 0.4)
			for k := range wall {
				wall[k] += windows[k] * w
			}
		}
	}
	for k := range c {
		c[k] += (wall[k] - c[k]) * cover
	}
	return c
}

// deck is the roof of the survey boat, below the mast.
func (h *Scene) deck(d r3.Vec) rgb {
	x, z := d.X/-d.Y, d.Z/-d.Y
	plank := x*14 - math.Floor(x*14)
	g := 0.8 + 0.4*noise(x*30, z*3) - 0.6*soft((0.06-math.Min(plank, 1-plank))/0.03)
	return rgb{deckTint[0] * g, deckTint[1] * g, deckTint[2] * g}
}

// soft is a smooth step from 0 at −½ to 1 at ½.
func soft(x float64) float64 {
	if x <= -0.5 {
		return 0
	}
	if x >= 0.5 {
		return 1
	}
	x += 0.5
	return x * x * (3 - 2*x)
}

// random is a number in [0, 1) that depends only on the two seeds.
func random(a, b uint32) float64 {
	a = a*0x9e3779b1 ^ b*0x85ebca6b
	a ^= a >> 15
	a *= 0x2c1b3c6d
	a ^= a >> 12
	a *= 0x297a2d39
	a ^= a >> 15
	return float64(a) * 0x1p-32
}

// lattice holds the values of noise at its nodes. They repeat every 256 nodes.
var lattice = func() (t [256 * 256]float32) {
	for i := range t {
		t[i] = float32(random(uint32(i), 77))
	}
	return t
}()

// noise is smooth value noise in [0, 1], with nodes at whole numbers.
func noise(x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	u, v := x-fx, y-fy
	i, j := int(fx)&255, int(fy)&255
	i1, j1 := (i+1)&255, (j+1)&255
	u *= u * (3 - 2*u)
	v *= v * (3 - 2*v)
	a := float64(lattice[j<<8|i])
	b := float64(lattice[j<<8|i1])
	c := float64(lattice[j1<<8|i])
	d := float64(lattice[j1<<8|i1])
	a += (b - a) * u
	c += (d - c) * u
	return a + (c-a)*v
}
