package report

import "fmt"

// drawnRuns is how many runs a drawing shows: more are too dense to be told apart, and too much for a phone to load.
const drawnRuns = 150

// Latest keeps of a history what a drawing shows, the newest runs and what begins among them, and says what it left
// out; "" for nothing.
func Latest(h History) (History, string) {
	cut := len(h.Points) - drawnRuns
	if cut <= 0 {
		return h, ""
	}
	h.Points = h.Points[cut:]
	var marks []Mark
	for _, m := range h.Marks {
		if m.Before -= cut; m.Before > 0 {
			marks = append(marks, m)
		}
	}
	h.Marks = marks
	return h, fmt.Sprintf("The newest %d of %d runs are drawn.", drawnRuns, cut+drawnRuns)
}
