package report

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"limbgauge/analyze/health"
)

// A joint whose losses are plain to work out: between the load pulling one way and the other a compliance takes
// 2·C·M and friction leaves 2·T·C (methods: torque-deflection loop).
func TestSplitTellsStretchesAndKinds(t *testing.T) {
	of := func(name string, p health.Path, v, u float64) health.Measure { return health.Of(name, p, v, u, "") }
	j := health.Joint{Joint: "knee", Measures: []health.Measure{
		of("play", health.Servo, 0.2, 0.05), of("play", health.Transmission, 0.6, 0.04),
		health.Unseen("compliance", health.Servo, "", "no load was applied"), of("compliance", health.Transmission, 2, 0.1),
		of("friction", health.Transmission, 0.05, 0.01), of("load_torque_peak", health.NoPath, 0.3, 0),
		of("systematic_deviation", health.Total, 5, 0.1),
	}}
	s := splitOf(j, 0.1)
	// 0.2 + 0.6 + 2·2·0.3 + 2·0.05·2 = 2.2 deg, at 0.1 m 3.8 mm; 5 less 2.2 are not known.
	for _, want := range []string{"2.20", "3.8 mm at the foot", "most of it by compliance of the transmission", "of the whole deviation of 5.00 deg, 2.80 deg are not explained"} {
		if !strings.Contains(s.Lead, want) {
			t.Errorf("%q does not say %q", s.Lead, want)
		}
	}
	if len(s.Stretches) != 2 || s.Stretches[0].Name != "servo" || s.Stretches[1].Name != "transmission" || s.Rest != "2.80 deg" {
		t.Fatalf("stretches %+v, rest %q", s.Stretches, s.Rest)
	}
	if v := s.Stretches[1].Parts; v[0].Value != "0.600 ± 0.040 deg" || !strings.HasPrefix(v[1].Value, "1.200 ± ") || !strings.HasPrefix(v[2].Value, "0.200 ± ") {
		t.Errorf("transmission: %+v", v)
	}
	if v := s.Stretches[0].Parts[1]; v.Value != "" || v.Chip != "" {
		t.Errorf("what was not seen is shown as %+v", v)
	}
	// Lengths are shares of known and not known together, gaps aside; only textures tell kinds without colour.
	var wide []float64
	textures := map[string]bool{}
	svg := parseXML(t, string(s.Drawing))
	for _, r := range svg.all("rect", "") {
		w, err := strconv.ParseFloat(r.attrs["width"], 64)
		if err != nil {
			t.Fatal(err)
		}
		wide = append(wide, w)
	}
	for i, want := range []float64{0.2, 0.6, 1.2, 0.2, 2.8} {
		if i >= len(wide) || math.Abs(wide[i]-want/5*400) > 5.1 {
			t.Errorf("lengths %v, want shares of %v", wide, want)
		}
	}
	for _, p := range svg.all("path", "k-cuts") {
		textures[strings.TrimLeft(p.attrs["d"], "M0123456789. ")[:1]] = true
	}
	if !textures["v"] || !textures["h"] || len(svg.all("rect", "k-rest")) != 1 {
		t.Errorf("textures %v in %s", textures, s.Drawing)
	}
	if splitOf(health.Joint{Joint: "hip", Measures: []health.Measure{health.Unseen("play", health.Total, "", "")}}, 0) != nil {
		t.Error("nothing seen is drawn")
	}
}
