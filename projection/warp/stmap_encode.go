package warp

import (
	"context"
	"errors"
	"fmt"
	"io"

	"example.com/platewright/internal/exr"
	"example.com/platewright/internal/valid"
)

// These attributes of a file say what its numbers are.
const (
	originAttribute  = "platewright:origin"
	meaningAttribute = "platewright:map"
	topLeft          = "top left"
	bottomLeft       = "bottom left"
	meaning          = "R, G: source position over source width, height; corners 0 and 1, pixel i at (i + 1/2)/n; A: 1 seen, 0 not"
)

// EncodeOptions control EncodeSTMap.
type EncodeOptions struct {
	BottomLeft bool // green counts from the bottom of the source: 1 − y/height
}

// EncodeSTMap writes a map as an ST map: an OpenEXR picture of the target's size
// with the source position x/width in red and y/height in green, both 0 at the top
// left corner of the source. So one file serves versions of its source of any size.
//
// The file has scan lines of 32-bit floats, ZIP, in channels R, G, B and A. A is 1
// where the source is seen. All four are 0 elsewhere. Rounding moves a position by
// at most 2⁻²⁵ of the source's side: 0.0015 px at 49152 px. A target wider than
// 8388607 px is an error. Sizes, seams and margins of the source are not kept.
func EncodeSTMap(ctx context.Context, w io.Writer, m *Map, opts EncodeOptions) error {
	c := valid.New("warp", ErrInvalid)
	checkContext(c, ctx)
	if valid.Absent(w) {
		c.Fault("writer", "nil", "must be given")
	}
	if m == nil || m.width == 0 {
		c.Fault("map", "none", "must be made by NewMap, NewMapFromPositions or DecodeSTMap")
	}
	if !c.OK() {
		return c.Err()
	}
	box := exr.Box{MaxX: int32(m.width - 1), MaxY: int32(m.height - 1)}
	h := exr.Header{
		Channels: []exr.Channel{{Name: "A", Type: exr.Float}, {Name: "B", Type: exr.Float}, {Name: "G", Type: exr.Float}, {Name: "R", Type: exr.Float}},
		Data:     box, Display: box, Compression: exr.ZIP,
		Text: map[string]string{originAttribute: topLeft, meaningAttribute: meaning},
	}
	if opts.BottomLeft {
		h.Text[originAttribute] = bottomLeft
	}
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	err := exr.Encode(w, h, func(y int, samples [][]float32) error {
		m.encodeRow(y, opts.BottomLeft, s, samples[3], samples[2], samples[0])
		return ctx.Err()
	})
	if errors.Is(err, exr.ErrFormat) {
		c.Fault("map", fmt.Sprintf("%d px wide", m.width), "does not fit into the file: %v", err)
		return c.Err()
	}
	return err
}

// encodeRow writes a row of the target as a file has it.
func (m *Map) encodeRow(y int, fromBottom bool, s *scratch, red, green, alpha []float32) {
	w, h := float64(m.srcWidth), float64(m.srcHeight)
	clear(red)
	clear(green)
	clear(alpha)
	r := m.runOf(y)
	for x := 0; x < m.width; x = r.x1 {
		r.move(x, m.width)
		n := r.len()
		if r.positions(s.xs[:n], s.ys[:n]) {
			for i, sx := range s.xs[:n] {
				if sx != sx {
					continue
				}
				sx, sy := m.confine(sx, s.ys[i]) // stored offsets are rounded
				if fromBottom {
					sy = h - sy
				}
				red[x+i], green[x+i], alpha[x+i] = float32(sx/w), float32(sy/h), 1
			}
		}
	}
}
