package report

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// luminance is the relative luminance of WCAG 2.2 of an sRGB colour "#rrggbb".
func luminance(hex string) (float64, error) {
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil || len(hex) != 7 {
		return 0, fmt.Errorf("colour %q is not #rrggbb", hex)
	}
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		c := float64(n>>(16-8*i)&0xff) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum, nil
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, err := luminance(a)
	if err != nil {
		t.Fatal(err)
	}
	lb, err := luminance(b)
	if err != nil {
		t.Fatal(err)
	}
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// Black on white is 21:1 by definition; #767676 is the lightest grey that keeps 4.5:1 on white
// (WCAG 2.2, understanding of 1.4.3) and #777777 the first that does not.
func TestContrastFormula(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want float64
	}{{"#000000", "#ffffff", 21}, {"#ffffff", "#ffffff", 1}, {"#767676", "#ffffff", 4.54}, {"#ffffff", "#777777", 4.48}} {
		if got := contrast(t, c.a, c.b); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%s on %s: %.3f, want %.2f", c.a, c.b, got, c.want)
		}
	}
}

var (
	darkBlock = regexp.MustCompile(`(?s)@media screen and \(prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}`)
	rootBlock = regexp.MustCompile(`(?s):root \{(.*?)\}`)
	property  = regexp.MustCompile(`--([a-z-]+):\s*(#[0-9a-f]+)`)
	textTone  = regexp.MustCompile(`(?:[{; ]color|--tone):\s*var\(--([a-z-]+)\)`)
	ground    = regexp.MustCompile(`background(?:-color)?:\s*var\(--([a-z-]+)\)`)
	anyColor  = regexp.MustCompile(`(?:color|fill|stroke|background|border[a-z-]*|outline|--tone):[^;}]*#[0-9a-fA-F]{3,8}`)
)

// schemes returns the custom colours of a style sheet in light and in dark.
func schemes(t *testing.T, css string) map[string]map[string]string {
	t.Helper()
	dark := darkBlock.FindAllStringSubmatch(css, -1)
	light := rootBlock.FindAllStringSubmatch(darkBlock.ReplaceAllString(css, ""), -1)
	out := map[string]map[string]string{"light": {}, "dark": {}}
	for scheme, blocks := range map[string][][]string{"light": light, "dark": dark} {
		for _, b := range blocks {
			for _, p := range property.FindAllStringSubmatch(b[1], -1) {
				out[scheme][p[1]] = p[2]
			}
		}
	}
	return out
}

func matches(re *regexp.Regexp, css string) map[string]bool {
	out := map[string]bool{}
	for _, m := range re.FindAllStringSubmatch(css, -1) {
		out[m[1]] = true
	}
	return out
}

// Every tone of text on every ground keeps 4.5:1 (WCAG 2.2, 1.4.3), every line, mark and limit of a
// drawing 3:1 (1.4.11), in light and dark. Tones and grounds are read from the rules, so that a new
// one is tested too.
func TestContrast(t *testing.T) {
	css := CSS()
	texts, grounds := matches(textTone, css), matches(ground, css)
	delete(texts, "tone") // stands for the tones it is set to
	for _, k := range []ink{inkText, inkQuiet} {
		texts["p-"+k.class] = true
	}
	for _, must := range []string{"ink", "quiet", "link", "good", "bad", "warn", "p-text", "p-quiet"} {
		if !texts[must] {
			t.Errorf("no text is found in tone --%s", must)
		}
	}
	if !grounds["paper"] || !grounds["sheet"] {
		t.Errorf("grounds %v", grounds)
	}
	drawn := map[string]bool{"ink": true, "servo": true, "transmission": true}
	for _, r := range roles {
		drawn["p-"+r.ink.class] = true
	}
	for scheme, tones := range schemes(t, css) {
		check := func(fore map[string]bool, least float64) {
			for f := range fore {
				for g := range grounds {
					if tones[f] == "" || tones[g] == "" {
						t.Errorf("%s: no colour for --%s or --%s", scheme, f, g)
						continue
					}
					if got := contrast(t, tones[f], tones[g]); got < least {
						t.Errorf("%s: --%s on --%s has %.2f:1, want %.1f:1", scheme, f, g, got, least)
					}
				}
			}
		}
		check(texts, 4.5)
		check(drawn, 3)
	}
}

// Dark and light name the same colours, no rule brings a colour of its own past them, and the tones
// a drawing carries for readers without the page are those of the light scheme.
func TestColoursHaveOnePlace(t *testing.T) {
	css := CSS()
	s := schemes(t, css)
	for name := range s["light"] {
		if s["dark"][name] == "" {
			t.Errorf("--%s has no dark tone", name)
		}
	}
	for name := range s["dark"] {
		if s["light"][name] == "" {
			t.Errorf("--%s has no light tone", name)
		}
	}
	if m := anyColor.FindString(css); m != "" {
		t.Errorf("a colour outside the properties: %s", m)
	}
	inks := []ink{inkText, inkQuiet, inkGrid, inkAxis}
	for _, r := range roles {
		inks = append(inks, r.ink)
	}
	for _, k := range inks {
		if got := s["light"]["p-"+k.class]; got != k.hex() {
			t.Errorf("ink %s is %s, in plot.css %s", k.class, k.hex(), got)
		}
	}
}
