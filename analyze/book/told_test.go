package book

import (
	"slices"
	"testing"

	"limbgauge/analyze/health"
)

// A list tells of every run what its answer said, in the order of the runs: joints, findings, verdicts;
// one without an answer is there with nothing said.
func TestToldIsWhatTheAnswersSaid(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	for n, joints := range [][]health.Joint{{playJoint(0.1, false)}, {playJoint(0.8, true)}, nil} {
		i := kneeInfo(n+1, n+1, "A")
		h := answer(i.Run, "A", joints...)
		writeRun(t, dir, i, &h)
		must(t, b.AddRun(t.Context(), i, h))
	}
	list, err := b.Told(t.Context())
	must(t, err)
	if len(list) != 3 || list[0].Run.ID != "0001" || list[1].Run.ID != "0002" || list[2].Run.ID != "0003" {
		t.Fatalf("told of %d runs, want 0001 to 0003: %+v", len(list), list)
	}
	if len(list[2].Joints) != 0 {
		t.Errorf("0003 was not judged, but %+v is told of it", list[2].Joints)
	}
	for _, told := range list[:2] {
		_, joints, _, err := b.Run(t.Context(), told.Run.ID)
		must(t, err)
		if len(told.Joints) != len(joints) {
			t.Fatalf("run %s: %d joints told, its answer has %d", told.Run.ID, len(told.Joints), len(joints))
		}
		for i, j := range joints {
			got := told.Joints[i]
			wrong := slices.DeleteFunc(slices.Clone(j.Findings), func(f health.Finding) bool { return f.Cause == health.None })
			if got.Joint != j.Joint || len(got.Findings) != len(wrong) || len(wrong) > 0 && (got.Findings[0].Cause != wrong[0].Cause || got.Findings[0].Severity != wrong[0].Severity) ||
				got.Measures[0].Verdict != j.Measures[0].Verdict || got.Measures[0].Value != j.Measures[0].Value {
				t.Errorf("run %s: told %+v, its answer says %+v", told.Run.ID, got, j)
			}
		}
	}
}

// What runs name first is the same whether few runs are asked for, many, or all.
func TestFound(t *testing.T) {
	dir := t.TempDir()
	b, _ := open(t, dir)
	for n, joints := range [][]health.Joint{{playJoint(0.1, false)}, {playJoint(0.8, true)}, nil, {playJoint(0.9, true)}} {
		i := kneeInfo(n+1, n+1, "A")
		h := answer(i.Run, "A", joints...)
		writeRun(t, dir, i, &h)
		must(t, b.AddRun(t.Context(), i, h))
	}
	all, err := b.Runs(t.Context())
	must(t, err)
	want := []Found{{"0002", "knee", health.BeltSlack, health.SeverityFault}, {"0004", "knee", health.BeltSlack, health.SeverityFault}}
	for name, c := range map[string]struct {
		of   []Run
		want []Found
	}{
		"all":  {nil, want},
		"each": {all, want},
		"one":  {all[3:], want[1:]},
		"none": {all[:1], nil},
		"many": {slices.Repeat(all[1:2], askedOneByOne+1), want[:1]},
	} {
		got, err := b.Found(t.Context(), c.of)
		must(t, err)
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}
