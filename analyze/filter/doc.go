// Package filter smooths, differentiates and thins evenly spaced samples without shifting them in
// time.
//
// It knows no units but frequencies in Hz and times in s. Filters are designed by the bilinear
// transform of analogue prototypes and run as second order sections forward and backward, so that
// their phase is zero (Oppenheim and Schafer, Discrete-Time Signal Processing, chapter 7; the
// treatment of the ends is that of Gustafsson, IEEE Trans. Signal Processing 44 (1996) 988-992, in
// its simpler form with odd extension). Slices are never modified.
package filter
