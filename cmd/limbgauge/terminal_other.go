//go:build !windows

package main

import (
	"cmp"
	"os"
	"strings"
)

// sequences says whether a terminal takes control sequences: all that are not "dumb" do.
func sequences(int) bool { return true }

// hasUnicode says whether the locale's letters are those of Unicode. The variables are asked in the order
// of POSIX.1-2017, chapter 8.2; without any the locale is "POSIX", whose letters are those of ASCII.
func hasUnicode() bool {
	locale := strings.ToLower(cmp.Or(os.Getenv("LC_ALL"), os.Getenv("LC_CTYPE"), os.Getenv("LANG")))
	return strings.Contains(locale, "utf-8") || strings.Contains(locale, "utf8")
}
