// Package clocktest makes times for tests that no clock gives at will.
package clocktest

import (
	"testing"
	"time"
	"unsafe"
)

// Slept is a time as a computer has it that slept since: the wall's clock went on, its own stood. There is no
// other way to make one than to take it back where a time.Time keeps it, and it is looked at whether that was so.
func Slept(t testing.TB, from time.Time, long time.Duration) time.Time {
	t.Helper()
	to := from.Add(long)
	type inside struct { // of time.Time
		wall uint64
		own  int64
		loc  *time.Location
	}
	(*inside)(unsafe.Pointer(&to)).own -= int64(long)
	if to.Sub(from) != 0 || to.Round(0).Sub(from.Round(0)) != long {
		t.Fatalf("not a time after a sleep: %v after %v", to, from)
	}
	return to
}
