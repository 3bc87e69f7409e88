// Package wall models LED walls.
package wall
