package main

import "golang.org/x/sys/windows"

// sequences says whether a console takes control sequences; one that can is told to.
func sequences(fd int) bool {
	var mode uint32
	h := windows.Handle(fd)
	if err := windows.GetConsoleMode(h, &mode); err != nil {
		return false
	}
	const on = windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING
	return mode&on != 0 || windows.SetConsoleMode(h, mode|on) == nil
}

// hasUnicode says that a console takes every letter: what is written there goes through its wide form.
func hasUnicode() bool { return true }
