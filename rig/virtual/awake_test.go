package virtual

import (
	"testing"
	"time"
)

// A stand that gets a turn every millisecond counts the wall's time; one that was given none for a second
// counts a turn.
func TestAwakeCountsNoSleep(t *testing.T) {
	var a awake
	wall := time.Duration(0)
	for range 250 {
		wall += time.Millisecond
		a.at(wall)
	}
	if got := a.at(wall); got != 250*time.Millisecond {
		t.Errorf("after 250 turns of 1 ms: %v, want 250ms", got)
	}
	if got := a.at(wall + time.Second); got != 250*time.Millisecond+turnAtMost {
		t.Errorf("after a second without a turn: %v, want %v", got, 250*time.Millisecond+turnAtMost)
	}
}
