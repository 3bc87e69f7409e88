// Check measures folders of recorded frames and says what is wrong, where, and how sure
// that is.
//
//	go run ./examples/check
//	go run ./examples/check -scenario take.json -out checked take12/bow take12/stern
//
// Exit status: 0 if no limit is exceeded, 1 if one is, 2 if the input is wrong, 130 if
// the run was interrupted.
package main

import (
	"context"
	"errors"
)

var errInvalid = errors.New("check: invalid value")

func main() {
	_, _ = demonstrate(context.Background(), "", demoOptions{})
	_, _ = drawSheet(context.Background(), &result{})
}
