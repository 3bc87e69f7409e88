package warp

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/lanes"
	"example.com/platewright/internal/mincut"
	"example.com/platewright/internal/valid"
)

// SeamOptions control FindSeams.
type SeamOptions struct {
	Pitch int // between the nodes of the grid, target px; 0: 16; reduced until it divides the side
	// Length is the cost of each step of the seam beside the difference there, in
	// mean differences E; 0: 1/16. A larger value makes seams straighter.
	Length float64

	// Cost, if not nil, replaces the pictures: the cost of a seam between layers
	// a < b at a target position that both see, as the parallax there in pixels.
	// Frames are then not needed. NaN, and more than 1024 times the mean, count as
	// 1024 times the mean; a negative cost as 0.
	Cost func(a, b int, x, y float64) float64 `json:"-"`

	Workers  int                   // goroutines; 0, or more than GOMAXPROCS: GOMAXPROCS
	Progress func(done, total int) `json:"-"` // called after each layer
}

// FindSeams finds where the layers of a blend can meet with the least visible
// difference. It gives each a Priority with which Blend puts its seams there.
//
// On a grid over the target, the cost of a seam is the sum, over the steps
// between neighbouring nodes p and q that it cuts, of
//
//	E(p) + E(q) + length·(1 + off),   E = Σ over channels of (gainₐ·a − gain_b·b)²
//
// E is the mean over 4 × 4 points around the node. off is the mean of
// |mₐ − m_b|/(mₐ + m_b) at p and q, with the margins m: where nothing else decides,
// the seam lies where margins are equal. The seam of least cost is a minimum cut.
// Layers are added one by one; each cut is optimal given the earlier ones. A seam
// keeps its feather from the limits of either layer, if the overlap is wide enough.
//
// The priorities are distances from the seams in target pixels, positive where the
// layer is shown, and so are the feathers. They hold while nothing near the seams
// moves. Sources are not filtered: those much finer than the target seem to differ by
// more than Blend shows. Half the pitch takes ten times as long.
func FindSeams[T Sample](ctx context.Context, layers []Layer[T], opts SeamOptions) ([]*Priority, error) {
	if opts.Pitch == 0 {
		opts.Pitch = 16
	}
	if opts.Length == 0 {
		opts.Length = 1.0 / 16
	}
	g, err := checkSeams(ctx, layers, opts)
	if err != nil {
		return nil, err
	}
	f := seamFinder[T]{opts: opts, layers: make([]layer[T], len(layers)), labelMap: newLabelMap(g, layers[0].Map.targetWraps)}
	for i, in := range layers {
		l := &f.layers[i]
		l.m, l.feather, l.gain = in.Map, in.Feather, gains(in.Gain)
		l.ch, l.wrap, l.poles = in.Frame.ch, in.Map.wrap, in.Map.poles
		l.levels = []level[T]{in.Frame.level()}
	}
	for k := range f.layers {
		if err := f.add(ctx, k); err != nil {
			return nil, err
		}
		if opts.Progress != nil {
			opts.Progress(k+1, len(layers))
		}
	}
	return f.priorities(ctx, len(layers), opts.Workers)
}

func checkSeams[T Sample](ctx context.Context, layers []Layer[T], opts SeamOptions) (g grid, err error) {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	c.Int("Pitch", opts.Pitch, "px", 1, maxSide)
	checkWorkers(c, opts.Workers)
	c.Number("Length", opts.Length, "", valid.Above[float64](0, 100))
	c.Int("number of layers", len(layers), "", 1, maxSeamLayers)
	for i, l := range layers {
		name := func(s string) string { return fmt.Sprintf("layer %d: %s", i, s) }
		for k, g := range l.Gain {
			c.Number(name(fmt.Sprintf("Gain of channel %d", k)), g, "", valid.Closed[float64](0, maxGain))
		}
		c.Number(name("Feather"), l.Feather, "px", valid.Closed[float64](0, maxSide))
		if l.Map == nil || l.Map.width == 0 {
			c.Fault(name("map"), "none", "must be made by NewMap")
			continue
		}
		if first := layers[0].Map; first != nil && (l.Map.width != first.width || l.Map.height != first.height) {
			c.Fault(name("map"), fmt.Sprintf("%d × %d px", l.Map.width, l.Map.height), "must be as the first, %d × %d px", first.width, first.height)
		}
		switch f := l.Frame; {
		case opts.Cost != nil:
		case f.pix == nil:
			c.Fault(name("source frame"), "without pixels", "must be made by NewFrame")
		case f.width != l.Map.srcWidth || f.height != l.Map.srcHeight:
			c.Fault(name("source frame"), fmt.Sprintf("%d × %d px", f.width, f.height), "must be as the map's, %d × %d px", l.Map.srcWidth, l.Map.srcHeight)
		case f.ch != layers[0].Frame.ch:
			c.Fault(name("source frame"), fmt.Sprintf("%d channels", f.ch), "must be as the first's, %d", layers[0].Frame.ch)
		}
	}
	if c.OK() {
		g = newGrid(c, layers[0].Map.width, layers[0].Map.height, opts.Pitch, maxSeamNodes)
	}
	return g, c.Err()
}

// seamFinder labels the nodes of a target with its layers.
type seamFinder[T Sample] struct {
	labelMap
	opts   SeamOptions
	layers []layer[T]
}

// claim says which of two layers may have a node: the one that has it so far, or the
// new one. A node that neither stays nor goes is contested.
type claim struct {
	cost  float64 // of a seam; NaN where not both see
	off   float64 // 0 where their margins are equal, up to 1
	stays bool    // with the layer that has it
	goes  bool    // to the new layer
	void  bool    // no layer sees it
}

// add labels the nodes that layer k is to have.
func (f *seamFinder[T]) add(ctx context.Context, k int) error {
	claims := make([]claim, len(f.labels))
	var pool workers
	err := pool.run(ctx, f.opts.Workers, f.ny, nil, func(row int, _ *scratch) {
		for col := range f.columns {
			i := row*f.columns + col
			claims[i] = f.claim(int(f.labels[i]), k, col, row)
		}
	})
	if err != nil {
		return err
	}
	g, nodes := newGraph(claims, f.columns, f.ny, f.wrap, f.opts.Length)
	ofNew, err := mincut.Cut(ctx, g)
	if err != nil {
		return err
	}
	for n, i := range nodes {
		claims[i].goes = ofNew[n]
	}
	for i, c := range claims {
		if c.goes {
			f.labels[i] = int16(k)
		}
	}
	return nil
}

// claim is about a node that label has so far, and layer k as the new one.
func (f *seamFinder[T]) claim(label, k, col, row int) claim {
	x, y := f.node(col, row)
	b := &f.layers[k]
	bx, by, ok := b.m.At(x, y)
	switch {
	case !ok:
		return claim{cost: math.NaN(), stays: true, void: label < 0}
	case label < 0:
		return claim{cost: math.NaN(), goes: true}
	}
	a := &f.layers[label]
	ax, ay, _ := a.m.At(x, y)
	marginA, marginB := a.m.marginAt(ax, ay), b.m.marginAt(bx, by)
	var c claim
	// Margins smaller than this, where both layers end, tell nothing but rounding.
	const known = 1.0 / 1024
	if off := math.Abs(marginA-marginB) / max(marginA+marginB, known); off <= 1 { // else one is below 0, or infinite
		c.off = off
	}
	if !(marginA >= a.feather-known && marginB >= b.feather-known) {
		c.goes = marginB > marginA
		c.stays = !c.goes
	}
	if f.opts.Cost != nil {
		c.cost = f.opts.Cost(label, k, x, y)
	} else {
		c.cost = f.difference(a, b, x, y)
	}
	if !(c.cost <= math.MaxFloat64) { // NaN stands for what is not both's
		c.cost = math.MaxFloat64
	}
	c.cost = max(c.cost, 0)
	return c
}

// difference is the mean squared difference of two layers around a node, in
// full scales of whole samples.
func (f *seamFinder[T]) difference(a, b *layer[T], x, y float64) float64 {
	limit, whole := lanes.Limit[T]()
	if !whole {
		limit = 1
	}
	scale := 1 / float64(limit)
	tents := window{separable: Bilinear.separable()}
	var p, q [4]float32
	sum, count := 0.0, 0
	for n := range 16 {
		tx := x + (float64(n%4)-1.5)/4/f.perX
		ty := y + (float64(n/4)-1.5)/4/f.perY
		if f.wrap {
			tx = wrapTo(tx, float64(f.width))
		}
		ax, ay, inA := a.m.At(tx, ty)
		bx, by, inB := b.m.At(tx, ty)
		if !inA || !inB {
			continue
		}
		a.single(ax, ay, tents, nil, p[:a.ch])
		b.single(bx, by, tents, nil, q[:b.ch])
		for c := range p[:a.ch] {
			d := (float64(a.gain[c])*float64(p[c]) - float64(b.gain[c])*float64(q[c])) * scale
			sum += float64(d * d)
		}
		count++
	}
	return sum / float64(count) // none: NaN
}

// What a mean cost is in whole numbers, and the largest cost.
const (
	meanCost = 1 << 16
	maxCost  = 1 << 26
)

// newGraph makes the network of the contested nodes, from the earlier layers (the
// source) to the new one (the sink), and says which nodes of the grid they are.
// Costs become whole numbers, so that sums are exact and the cut the same in any
// order.
func newGraph(claims []claim, nx, ny int, wrap bool, length float64) (g mincut.Graph, nodes []int) {
	index := make([]int32, len(claims))
	mean, count := 0.0, 0.0
	for i, c := range claims {
		index[i] = -1
		if c.stays || c.goes {
			continue
		}
		index[i] = int32(len(nodes))
		nodes = append(nodes, i)
		if c.cost < math.MaxFloat64 {
			count++
			mean += (c.cost - mean) / count
		}
	}
	n := len(nodes)
	g = mincut.Graph{Neighbours: make([][4]int32, n), Capacity: make([][4]int32, n), Terminal: make([]int64, n)}
	whole := func(cost float64) int32 {
		switch {
		case cost == 0:
			return 0
		case !(cost < mean*(maxCost/meanCost)):
			return maxCost
		}
		return int32(math.Round(cost / mean * meanCost))
	}
	for n, i := range nodes {
		here := claims[i].cost
		for d, o := range neighbours(i, nx, ny, wrap) {
			g.Neighbours[n][d] = -1
			if o < 0 || o == i || claims[o].void {
				continue
			}
			there, off := claims[o].cost, claims[o].off
			if there != there {
				there, off = here, claims[i].off
			}
			step := math.Round(length * (1 + (claims[i].off+off)/2) * meanCost)
			capacity := whole(here) + whole(there) + max(int32(step), 1)
			switch {
			case claims[o].stays:
				g.Terminal[n] += int64(capacity)
			case claims[o].goes:
				g.Terminal[n] -= int64(capacity)
			default:
				g.Neighbours[n][d], g.Capacity[n][d] = index[o], capacity
			}
		}
	}
	return g, nodes
}
