package web

import (
	"slices"
	"strconv"
	"testing"
)

// A page that never reads holds nobody up and loses its oldest news.
func TestHubNeverWaits(t *testing.T) {
	h := newHub()
	slow, quick := h.join("slow", "a"), h.join("quick", "a")
	for i := range 10 * kept {
		h.tell("moved", i, false)
		if n := <-quick.news; string(n.data) != strconv.Itoa(i) {
			t.Fatalf("the page that reads heard %s, want %d", n.data, i)
		}
	}
	if len(slow.news) != kept || slow.dropped != 9*kept {
		t.Errorf("the page that does not read: %d waiting, %d dropped; want %d and %d", len(slow.news), slow.dropped, kept, 9*kept)
	}
	if n := <-slow.news; string(n.data) != strconv.Itoa(9*kept) {
		t.Errorf("its oldest news is %s, want %d", n.data, 9*kept)
	}
}

// What lasts is never lost, only what it replaces: a page that was slow learns how things stand, before all that
// came later.
func TestHubKeepsWhatLasts(t *testing.T) {
	h := newHub()
	slow := h.join("slow", "a")
	h.tell("state", "armed", true)
	h.tell("stand", "there", true)
	h.tell("state", "moving", true)
	for i := range 2 * kept {
		h.tell("moved", i, false)
	}
	var got []string
	for _, n := range h.takeKept(slow) {
		got = append(got, string(n.data))
	}
	if want := []string{`"there"`, `"moving"`}; !slices.Equal(got, want) {
		t.Errorf("kept are %v, want %v", got, want)
	}
	if again := h.takeKept(slow); len(again) > 0 {
		t.Errorf("kept again: %v", again)
	}
	if n := <-slow.news; n.kind != "moved" {
		t.Errorf("then comes %s", n.data)
	}
}
