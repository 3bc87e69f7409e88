// Package projection maps directions to raster positions and back: lens
// projection models, cameras, panoramas and arrays of cameras.
package projection
