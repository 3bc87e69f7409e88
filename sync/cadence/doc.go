// Package cadence
package cadence
