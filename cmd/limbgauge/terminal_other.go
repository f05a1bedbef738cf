//go:build !windows

package main

// sequences says whether a terminal takes control sequences: all that are not "dumb" do.
func sequences(int) bool { return true }
