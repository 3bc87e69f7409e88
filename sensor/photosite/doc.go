// Package photosite predicts the signal and the noise of a sensor's photosites.
package photosite
