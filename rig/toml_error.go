package rig

import (
	"fmt"
	"strings"
)

// ConfigError is one thing wrong with a bench file: where it stands, what is wrong with it and
// what to write instead. LoadBench joins as many of them as it finds, in line order.
type ConfigError struct {
	Path    string // of the file
	Line    int    // from 1; 0 where the trouble is with the file as a whole
	Column  int    // from 1, in bytes
	Key     string // as in joint.load.mass_kg; empty where no key is to blame
	Problem string
	Hint    string // what to do
}

// Error returns everything on one line: file:line:column: key: problem; hint.
func (e *ConfigError) Error() string {
	var b strings.Builder
	b.WriteString(e.Path)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	if e.Key != "" {
		b.WriteString(": " + e.Key)
	}
	b.WriteString(": " + e.Problem)
	if e.Hint != "" {
		b.WriteString("; " + e.Hint)
	}
	return b.String()
}

// nearestKey returns the known key a mistyped one was most likely meant to be, or "". A key without its unit,
// or with another one, counts as near: mass and mass_g both mean mass_kg.
func nearestKey(key string, known []string) string {
	best, least := "", 1+max(2, len(key)/3)
	stems := map[string]int{} // one that several keys have says nothing
	for _, k := range known {
		stems[stem(k)]++
	}
	for _, k := range known {
		d := editDistance(strings.ToLower(key), k)
		if strings.HasPrefix(k, key+"_") || stem(key) != "" && stem(key) == stem(k) && stems[stem(k)] == 1 {
			d = min(d, 1)
		}
		if d < least {
			best, least = k, d
		}
	}
	return best
}

// stem is a key without its last part, which is where the unit stands.
func stem(key string) string {
	i := strings.LastIndexByte(key, '_')
	if i < 0 {
		return ""
	}
	return key[:i]
}

// editDistance counts the letters to insert, delete, replace or swap with their neighbour to make
// b of a (optimal string alignment).
func editDistance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
