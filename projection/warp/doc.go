// Package warp maps pixels from one raster to another: it finds where in a
// source each pixel of a target looks, and resamples and blends frames.
package warp
