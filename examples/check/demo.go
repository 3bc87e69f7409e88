package main

import "context"

// demoOptions say what the demonstration writes.
type demoOptions struct {
	Seed  uint64
	Small bool     // for tests
	Put   []string // names of the faults to put in; nil: all
	Clean bool     // no faults
}

// demoFault is a fault that was put in, with the value that was put in. The finding that
// must name it has the same question, verdict over, what, camera and channel.
type demoFault struct {
	Question question
	What     string
	Camera   string
	Other    string
	Channel  string
	Frame    int // −1: the whole take
	Value    float64
	Unit     string
}

// demonstrate writes FOLDER/scenario.json, and the frames of each camera into
// FOLDER/NAME.
func demonstrate(ctx context.Context, folder string, opts demoOptions) ([]demoFault, error) {
	return nil, nil
}
