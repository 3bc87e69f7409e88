package main

import (
	"context"
	"errors"
)

// listFrames lists what may be frames in a folder, in the order of their numbers.
func listFrames(ctx context.Context, folder string) ([]frameFile, error) {
	return nil, errors.New("not yet")
}

// readShape reads only as much of a file as says what it promises to hold.
func readShape(ctx context.Context, path string) (shape, error) {
	return shape{}, errors.New("not yet")
}

// reader reads frames one after another and reuses what memory it can. It is not safe
// for concurrent use: each worker has its own.
type reader struct{}

// read reads a frame. The shape of the picture is that of the file. What is wrong with a file is an error
// that begins with its path; NaN and infinities are one too.
func (r *reader) read(ctx context.Context, path string, into *picture) error {
	return errors.New("not yet")
}

// shrink fills into with the frame made smaller by factor. linear gives the light of a
// code, and white is the code from which on a sample is clipped.
func (p *picture) shrink(ctx context.Context, factor int, linear func(code float64) float64, white float64, into *small) error {
	return errors.New("not yet")
}
