package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"limbgauge/rig"
	"limbgauge/rig/virtual"
)

// truthOf is the joint as it really is in a run.
func truthOf(j rig.Joint, r demoRun, seed uint64) virtual.Truth {
	t := virtual.Healthy(j, 0)
	t.Seed = seed
	t.Part.DegPerNm = r.partDeg
	t.Belt.TensionN, t.Belt.SlackDeg = r.tensionN, r.slackDeg
	t.Belt.LossPerDecadeN, t.Belt.LossNPerDeg = 0, 0 // the story sets the tension of each week itself
	t.Belt.SkipBaseN, t.Belt.SkipPerN = 0, 0         // and skips no tooth
	return t
}

// demoBench is the example bench with the knee's load as the builder measured it.
func demoBench(leverM, inertia float64) (string, error) {
	text := rig.ExampleBench()
	at := strings.Index(text, `name = "knee"`)
	if at < 0 {
		return "", errors.New("the example bench has no knee")
	}
	head, knee := text[:at], text[at:]
	for key, v := range map[string]float64{"mass_kg": 0.55, "lever_m": leverM, "inertia_kg_m2": inertia} {
		lines := strings.Split(knee, "\n")
		found := false
		for i, l := range lines {
			if strings.HasPrefix(l, key+" = ") {
				lines[i], found = fmt.Sprintf("%s = %g", key, v), true
				break
			}
		}
		if !found {
			return "", fmt.Errorf("the example bench states no %s for the knee", key)
		}
		knee = strings.Join(lines, "\n")
	}
	return head + knee, nil
}

// tubeSTL writes a rectangular tube, 80 mm long and 24 by 16 mm outside, as an ASCII STL: a part file
// for the revision to keep the hash of.
func tubeSTL(name string, wallMM float64) string {
	var b strings.Builder
	fmt.Fprintf(&b, "solid %s\n", strings.ToLower(name))
	ring := func(w, h float64) [4][2]float64 {
		return [4][2]float64{{-w / 2, -h / 2}, {w / 2, -h / 2}, {w / 2, h / 2}, {-w / 2, h / 2}}
	}
	type point [3]float64
	facet := func(p, q, r point) {
		u := point{q[0] - p[0], q[1] - p[1], q[2] - p[2]}
		v := point{r[0] - p[0], r[1] - p[1], r[2] - p[2]}
		n := point{u[1]*v[2] - u[2]*v[1], u[2]*v[0] - u[0]*v[2], u[0]*v[1] - u[1]*v[0]}
		l := math.Sqrt(n[0]*n[0] + n[1]*n[1] + n[2]*n[2])
		fmt.Fprintf(&b, " facet normal %.6g %.6g %.6g\n  outer loop\n", n[0]/l, n[1]/l, n[2]/l)
		for _, x := range []point{p, q, r} {
			fmt.Fprintf(&b, "   vertex %.6g %.6g %.6g\n", x[0], x[1], x[2])
		}
		b.WriteString("  endloop\n endfacet\n")
	}
	quad := func(p, q, r, s point) { facet(p, q, r); facet(p, r, s) }
	const length = 80.0
	out, in := ring(24, 16), ring(24-2*wallMM, 16-2*wallMM)
	at := func(c [2]float64, z float64) point { return point{c[0], c[1], z} }
	for i := range 4 {
		k := (i + 1) % 4
		quad(at(out[i], 0), at(out[k], 0), at(out[k], length), at(out[i], length))
		quad(at(in[k], 0), at(in[i], 0), at(in[i], length), at(in[k], length))
		quad(at(out[k], 0), at(out[i], 0), at(in[i], 0), at(in[k], 0))
		quad(at(out[i], length), at(out[k], length), at(in[k], length), at(in[i], length))
	}
	fmt.Fprintf(&b, "endsolid %s\n", strings.ToLower(name))
	return b.String()
}
