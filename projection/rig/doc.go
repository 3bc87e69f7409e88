// Package rig is several cameras that shoot a plate together: what they cover and
// what they miss, where their plates meet and by how much they disagree there about
// near things, what a vehicle hides from them, how far the plate can be pushed into,
// and where a Shot can look.
package rig
