package health

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// written is the example of the design, key by key and in its order.
const written = `{"schema": 1, "run": "0042", "leg": "fore-left", "revision": "B",
 "joints": [{"joint": "knee",
   "measures": [{"name": "play", "path": "transmission", "value": 0.62, "unit": "deg", "uncertainty": 0.04,
                 "status": "measured", "limit": 0.5, "verdict": "fail", "method": "...", "reason": ""}],
   "findings": [{"cause": "belt_slack", "severity": "fault", "confidence": 0.97, "part": "belt",
                 "evidence": ["..."], "could_also_be": ["..."], "next": "..."}]}]}`

func example() Health {
	return Health{Schema: Schema, Run: "0042", Leg: "fore-left", Revision: "B", Joints: []Joint{{Joint: "knee",
		Measures: []Measure{Judge(Of("play", Transmission, 0.62, 0.04, "..."), 0.5)},
		Findings: []Finding{{Cause: BeltSlack, Severity: SeverityFault, Confidence: 0.97, Part: "belt",
			Evidence: []string{"..."}, CouldAlsoBe: []string{"..."}, Next: "..."}}}}}
}

// The JSON is the design's, byte for byte but for white space.
func TestJSONOfTheDesign(t *testing.T) {
	var want bytes.Buffer
	if err := json.Compact(&want, []byte(written)); err != nil {
		t.Fatal(err)
	}
	got, err := json.Marshal(example())
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want.String() {
		t.Errorf("JSON\n%s\nwant\n%s", got, want.String())
	}
	var back Health
	if err := json.Unmarshal([]byte(written), &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, example()) {
		t.Errorf("read %+v, want %+v", back, example())
	}
}

// What is not there is null, never zero, and curves and notes are not part of it.
func TestJSONOfWhatIsNotThere(t *testing.T) {
	for _, c := range []struct {
		m    Measure
		want string
	}{
		{Unseen("play", Total, "loop", "the load pulls one way"),
			`{"name":"play","path":"total","value":null,"unit":"deg","uncertainty":null,"status":"not_observable","limit":null,"verdict":"","method":"loop","reason":"the load pulls one way"}`},
		{Judge(Unseen("play", Total, "loop", "so"), 0.5),
			`{"name":"play","path":"total","value":null,"unit":"deg","uncertainty":null,"status":"not_observable","limit":0.5,"verdict":"unproven","method":"loop","reason":"so"}`},
		{Bound("belt_tension", Transmission, BoundLow, 21.5, math.NaN(), "knee", "no knee"),
			`{"name":"belt_tension","path":"transmission","value":21.5,"unit":"N","uncertainty":null,"status":"bound_low","limit":null,"verdict":"","method":"knee","reason":"no knee"}`},
		{Bound("belt_tension", Transmission, BoundHigh, math.Inf(1), math.Inf(1), "knee", ""),
			`{"name":"belt_tension","path":"transmission","value":null,"unit":"N","uncertainty":null,"status":"bound_high","limit":null,"verdict":"","method":"knee","reason":""}`},
		{Of("torque_use", NoPath, 0, 0, "zero is a figure"),
			`{"name":"torque_use","path":"","value":0,"unit":"1","uncertainty":0,"status":"measured","limit":null,"verdict":"","method":"zero is a figure","reason":""}`},
	} {
		got, err := json.Marshal(c.m)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != c.want {
			t.Errorf("JSON\n%s\nwant\n%s", got, c.want)
		}
	}
	j := Joint{Joint: "knee", Measures: []Measure{}, Findings: []Finding{}, Curves: []Curve{{ID: "loop-total"}}, Notes: []string{"a note"}}
	got, err := json.Marshal(j)
	if err != nil || string(got) != `{"joint":"knee","measures":[],"findings":[]}` {
		t.Errorf("JSON %s, %v", got, err)
	}
	var bad Measure
	if err := json.Unmarshal([]byte(`{"value":"much"}`), &bad); err == nil {
		t.Error("a word was read as a value")
	}
}

// Whatever is written is read back, absent figures as NaN.
func TestJSONRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.OneOf(rapid.Float64(), rapid.Just(math.NaN()))
		d := rapid.SampledFrom(Definitions()).Draw(t, "measure")
		m := Measure{Name: d.Name, Unit: d.Unit,
			Path:        rapid.SampledFrom([]Path{NoPath, Servo, Transmission, Total}).Draw(t, "path"),
			Value:       number.Draw(t, "value"),
			Uncertainty: number.Draw(t, "uncertainty"),
			Limit:       number.Draw(t, "limit"),
			Status:      rapid.SampledFrom([]Status{Measured, BoundLow, BoundHigh, NotObservable}).Draw(t, "status"),
			Verdict:     rapid.SampledFrom([]Verdict{NoVerdict, Pass, Fail, Unproven}).Draw(t, "verdict"),
			Method:      rapid.String().Draw(t, "method"), Reason: rapid.String().Draw(t, "reason")}
		data, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(data, []byte("NaN")) && !strings.Contains(m.Method+m.Reason+m.LimitFrom, "NaN") {
			t.Fatalf("JSON %s", data)
		}
		var back Measure
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatal(err)
		}
		for _, p := range []struct{ got, want *float64 }{{&back.Value, &m.Value}, {&back.Uncertainty, &m.Uncertainty}, {&back.Limit, &m.Limit}} {
			if math.IsNaN(*p.got) != math.IsNaN(*p.want) {
				t.Fatalf("read %v, want %v", *p.got, *p.want)
			}
			if math.IsNaN(*p.got) {
				*p.got, *p.want = 0, 0
			}
		}
		if back != m {
			t.Fatalf("read %+v, want %+v", back, m)
		}
	})
}
