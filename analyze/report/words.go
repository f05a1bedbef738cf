package report

import (
	"strconv"
	"strings"
	"unicode"

	"limbgauge/analyze/health"
)

var causeTitles = map[health.Cause]string{
	health.None:             "nothing wrong",
	health.BeltTensionLow:   "belt tension low",
	health.BeltSlack:        "belt slack",
	health.ServoPlay:        "play in the servo",
	health.ExcessCompliance: "too much give under load",
	health.Creep:            "creep",
	health.HornSlip:         "horn slipped",
	health.ToothSkip:        "belt skipped a tooth",
	health.TightSpot:        "tight spot",
	health.HighFriction:     "too much friction",
	health.NearStall:        "close to stall",
	health.Stall:            "stall",
	health.SupplySag:        "supply sags",
	health.Hunting:          "hunting at rest",
	health.SensorFault:      "sensor fault",
	health.LostSamples:      "samples lost",
}

// CauseTitle says a cause in words. A cause it does not know is shown by its own name.
func CauseTitle(c health.Cause) string {
	if t, ok := causeTitles[c]; ok {
		return t
	}
	return clean(strings.ReplaceAll(string(c), "_", " "))
}

// measureTitle says a measure in words; an unknown one is shown by its own name.
func measureTitle(name string) string {
	if d, ok := health.DefinitionOf(name); ok {
		return d.Title
	}
	return clean(strings.ReplaceAll(name, "_", " "))
}

var pathTitles = map[health.Path]string{
	health.NoPath:       "",
	health.Servo:        "servo: command to motor side",
	health.Transmission: "transmission: motor side to joint",
	health.Total:        "total: command to joint",
}

// Sign is a shape with a word: state is never told by colour alone. Shape names a symbol of Shapes.
type Sign struct{ Shape, Word string }

// The shapes, named after the symbols in page.html.
const (
	shapeGood    = "good"
	shapeBad     = "bad"
	shapeDoubt   = "doubt"
	shapeWarning = "warning"
	shapeHint    = "hint"
	shapeNone    = "none"
)

// VerdictSign returns the sign of a verdict.
func VerdictSign(v health.Verdict) Sign {
	switch v {
	case health.Pass:
		return Sign{shapeGood, "pass"}
	case health.Fail:
		return Sign{shapeBad, "fail"}
	case health.Unproven:
		return Sign{shapeDoubt, "unproven"}
	}
	return Sign{shapeNone, "no limit"}
}

// SeveritySign returns the sign of a finding.
func SeveritySign(s health.Severity) Sign {
	switch s {
	case health.SeverityFault:
		return Sign{shapeBad, "fault"}
	case health.SeverityWarning:
		return Sign{shapeWarning, "warning"}
	case health.SeverityHint:
		return Sign{shapeHint, "hint"}
	case health.SeverityOK:
		return Sign{shapeGood, "ok"}
	}
	return Sign{shapeNone, clean(string(s))}
}

// StateSign returns the sign of a problem's state.
func StateSign(state string) Sign {
	shape, ok := map[string]string{StateOpen: shapeBad, StateAnswered: shapeDoubt,
		StateCured: shapeGood, StateReturned: shapeBad}[state]
	if !ok {
		shape = shapeNone
	}
	return Sign{shape, clean(state)}
}

// clean replaces what a reader cannot see: control characters, and marks that turn the direction of
// writing, with which a name could disguise itself. Line breaks and tabs become spaces.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r), r >= 0xFFFE && r <= 0xFFFF:
			return unicode.ReplacementChar
		}
		return r
	}, strings.ToValidUTF8(s, string(unicode.ReplacementChar)))
}

func cleanAll(list []string) []string {
	out := make([]string, 0, len(list))
	for _, s := range list {
		if s = clean(s); strings.TrimSpace(s) != "" {
			out = append(out, s)
		}
	}
	return out
}

// Sentence gives a text a capital letter and a full stop.
func Sentence(s string) string {
	s = strings.TrimSpace(clean(s))
	if s == "" {
		return ""
	}
	r := []rune(s)
	r[0] = unicode.ToUpper(r[0])
	if !strings.ContainsRune(".!?", r[len(r)-1]) {
		r = append(r, '.')
	}
	return string(r)
}

// list joins words as people do: "a, b and c". More than most are counted instead of named.
func list(words []string, most int) string {
	n := len(words)
	switch {
	case n == 0:
		return ""
	case n == 1:
		return words[0]
	case n > most:
		return strings.Join(words[:most], ", ") + " and " + plural(n-most, "more", "more")
	}
	return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}
