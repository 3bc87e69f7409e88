package warp

import "example.com/platewright/internal/enum"

var (
	filters  = enum.New[Filter](ErrInvalid, []string{Bilinear: "bilinear", Nearest: "nearest", CatmullRom: "Catmull-Rom", Mitchell: "Mitchell", Lanczos3: "Lanczos 3"})
	edges    = enum.New[Edge](ErrInvalid, []string{Mask: "mask", Clamp: "clamp", Constant: "constant"})
	minifies = enum.New[Minify](ErrInvalid, []string{AntiAlias: "anti-alias", PixelMean: "pixel mean", PointSample: "point sample"})
	curves   = enum.New[Curve](ErrInvalid, []string{Power: "power", SRGB: "sRGB", BT1886: "BT.1886", BT709: "BT.709", PQ: "PQ", HLG: "HLG"})
)

// String gives a name like "bilinear".
func (f Filter) String() string { return filters.Name(f) }

// MarshalText gives the name. An unknown Filter is an error.
func (f Filter) MarshalText() ([]byte, error) { return filters.Marshal(f) }

// UnmarshalText reads a name. Any other text is an error.
func (f *Filter) UnmarshalText(text []byte) error { return filters.Unmarshal(f, text) }

// String gives a name like "clamp".
func (e Edge) String() string { return edges.Name(e) }

// MarshalText gives the name. An unknown Edge is an error.
func (e Edge) MarshalText() ([]byte, error) { return edges.Marshal(e) }

// UnmarshalText reads a name. Any other text is an error.
func (e *Edge) UnmarshalText(text []byte) error { return edges.Unmarshal(e, text) }

// String gives a name like "pixel mean".
func (m Minify) String() string { return minifies.Name(m) }

// MarshalText gives the name. An unknown Minify is an error.
func (m Minify) MarshalText() ([]byte, error) { return minifies.Marshal(m) }

// UnmarshalText reads a name. Any other text is an error.
func (m *Minify) UnmarshalText(text []byte) error { return minifies.Unmarshal(m, text) }

// String gives a name like "sRGB".
func (c Curve) String() string { return curves.Name(c) }

// MarshalText gives the name. An unknown Curve is an error.
func (c Curve) MarshalText() ([]byte, error) { return curves.Marshal(c) }

// UnmarshalText reads a name. Any other text is an error.
func (c *Curve) UnmarshalText(text []byte) error { return curves.Unmarshal(c, text) }
