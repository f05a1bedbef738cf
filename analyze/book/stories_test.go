package book

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"limbgauge/analyze/health"
	"limbgauge/rig"
	"limbgauge/rig/record"

	"pgregory.net/rapid"
)

// Whatever is told, in whatever order, through one handle or another, with commands that end between
// the folder and the book: the live book, one made anew, and one made after a deletion say the same.
func TestEveryStoryIsToldTheSameTwice(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "")
		if err != nil {
			rt.Fatal(err)
		}
		b, _, err := OpenBook(t.Context(), dir)
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { b.Close() }()
		s := &teller{rt: rt, dir: dir, answers: map[string]health.Health{}}
		for range rapid.IntRange(1, 12).Draw(rt, "events") {
			if err := s.event(t.Context(), b); err != nil {
				rt.Fatal(err)
			}
			if s.missed || rapid.IntRange(0, 4).Draw(rt, "again") == 0 {
				s.missed = false
				if b, err = reopened(t.Context(), b); err != nil {
					rt.Fatal(err)
				}
			}
		}
		live := dump(t, b)
		if w, err := b.Rebuild(t.Context()); err != nil || len(w) > 0 {
			rt.Fatal(err, w)
		}
		if again := dump(t, b); again != live {
			rt.Fatalf("made anew:\n%s\nwas\n%s", again, live)
		}
		if err := b.Close(); err != nil {
			rt.Fatal(err)
		}
		if err := os.Remove(filepath.Join(dir, File)); err != nil {
			rt.Fatal(err)
		}
		if b, err = reopened(t.Context(), b); err != nil {
			rt.Fatal(err)
		}
		if again := dump(t, b); again != live {
			rt.Fatalf("made after a deletion:\n%s\nwas\n%s", again, live)
		}
	})
}

func reopened(ctx context.Context, b *Book) (*Book, error) {
	if err := b.Close(); err != nil {
		return b, err
	}
	again, o, err := OpenBook(ctx, b.dir)
	if err == nil && len(o.Warnings) > 0 {
		err = fmt.Errorf("%v", o.Warnings)
	}
	if err != nil {
		return b, err
	}
	return again, nil
}

// teller makes up what happens on a bench.
type teller struct {
	rt      *rapid.T
	dir     string
	infos   []record.Info
	answers map[string]health.Health
	revs    []string
	missed  bool // something is on the disk that the book was not told
}

func (s *teller) event(ctx context.Context, b *Book) error {
	at := day(rapid.IntRange(0, 6).Draw(s.rt, "day")) // often the same, often before what is there
	problems, err := b.Problems(ctx)
	if err != nil {
		return err
	}
	var named []string
	if len(problems) > 0 && rapid.Bool().Draw(s.rt, "named") {
		p := rapid.SampledFrom(problems).Draw(s.rt, "problem")
		named = []string{Ref{p.Joint, p.Cause}.String()}
	}
	kind := rapid.SampledFrom([]string{"run", "run", "run", "again", "revision", "service", "note"}).Draw(s.rt, "kind")
	if kind == "again" && len(s.infos) == 0 {
		kind = "run"
	}
	switch kind {
	case "run":
		i := runInfo(fmt.Sprintf("%04d", len(s.infos)+1), at, rapid.SampledFrom(append([]string{""}, s.revs...)).Draw(s.rt, "of"))
		i.Routine = rapid.SampledFrom([]string{"assembly", "assembly", "quick"}).Draw(s.rt, "routine")
		i.End.How = rapid.SampledFrom([]record.How{record.Complete, record.Complete, record.Stopped}).Draw(s.rt, "how")
		i.Conditions.BareServo = rapid.IntRange(0, 9).Draw(s.rt, "bare") == 0
		if v := rapid.SampledFrom([]float64{0, 5, 6}).Draw(s.rt, "volts"); v > 0 {
			i.Conditions.SupplySetV = &v
		}
		knee := i.Joints[0]
		knee.Setup.Name, knee.Setup.Servo.Rated = "knee", []rig.Rating{{Volts: 5, StallNm: 1.2, NoLoadDegPerS: 350, StallA: 2}, {Volts: 6, StallNm: 1.4, NoLoadDegPerS: 420, StallA: 2.4}}
		knee.Setup.Load = &rig.Load{MassKg: rapid.SampledFrom([]float64{0.25, 0.5}).Draw(s.rt, "mass"), LeverM: 0.11}
		knee.Setup.Belt = &rig.Belt{Teeth: 20, PitchMM: 2, Ratio: 1}
		if deg, turns := rapid.IntRange(0, 100).Draw(s.rt, "deg"), 3; deg > 0 {
			way := float64(deg)
			knee.TravelDeg, knee.Reversals = &way, &turns
		}
		i.Joints = append(i.Joints, knee)
		s.infos = append(s.infos, i)
		return s.keep(ctx, b, i)
	case "again":
		return s.keep(ctx, b, rapid.SampledFrom(s.infos).Draw(s.rt, "which"))
	case "revision":
		if rapid.IntRange(0, 4).Draw(s.rt, "claims nothing") == 0 {
			named = []string{AnswersNone}
		}
		r := Revision{Name: string(rune('A' + len(s.revs))), Made: at, Answers: named}
		if len(s.revs) > 0 {
			r.Parent = rapid.SampledFrom(s.revs).Draw(s.rt, "parent")
		}
		s.revs = append(s.revs, r.Name)
		return b.AddRevision(ctx, r)
	case "service":
		_, err := b.AddService(ctx, Service{When: at, What: "tightened", Part: "belt", Replaced: rapid.Bool().Draw(s.rt, "replaced"), Joint: rapid.SampledFrom([]string{"", "knee", "hip"}).Draw(s.rt, "at"), Answers: named})
		return err
	}
	run := ""
	if len(s.infos) > 0 && rapid.Bool().Draw(s.rt, "points") {
		run = rapid.SampledFrom(s.infos).Draw(s.rt, "pointed").Run
	}
	return b.AddNote(ctx, Note{When: at, Run: run, Joint: "knee", Cause: rapid.SampledFrom([]health.Cause{health.BeltSlack, health.Creep}).Draw(s.rt, "cause"),
		State: rapid.SampledFrom(append(states, "")).Draw(s.rt, "state"), Text: "seen"})
}

// keep judges a run, the first time or again; now and then the command ends before the book knows.
func (s *teller) keep(ctx context.Context, b *Book, i record.Info) error {
	var joints []health.Joint
	for _, j := range []string{"hip", "knee"} {
		play := health.Judge(health.Of("play", health.Servo, rapid.SampledFrom([]float64{0.1, 0.9}).Draw(s.rt, "servo"), 0.05, ""), 0.5)
		play.LimitFrom = rapid.SampledFrom([]string{"", health.FromBench, "baseline of runs 0001"}).Draw(s.rt, "from")
		v := rapid.SampledFrom([]float64{0.1, 0.48, 0.9}).Draw(s.rt, "play")
		joints = append(joints, found(j, health.BeltSlack, v > 0.5,
			play,
			health.Judge(health.Of("play", health.Transmission, v, 0.05, ""), 0.5),
			health.Unseen("creep", health.Total, "", "no hold")))
		use := rapid.SampledFrom([]float64{0.3, 0.48, 0.7}).Draw(s.rt, "use")
		stall := found(j, health.NearStall, use > 0.5, health.Judge(health.Of("torque_use", health.NoPath, use, 0.01, ""), 0.5))
		last := &joints[len(joints)-1]
		last.Measures, last.Findings = append(last.Measures, stall.Measures...), append(last.Findings, stall.Findings...)
	}
	h := answer(i.Run, i.Revision, joints...)
	d := filepath.Join(s.dir, "runs", i.Run)
	if err := os.MkdirAll(d, 0o755); err != nil {
		return err
	}
	if err := replaceJSON(filepath.Join(d, "run.json"), i); err != nil {
		return err
	}
	if err := replaceJSON(filepath.Join(d, HealthFile), h); err != nil {
		return err
	}
	if s.missed = rapid.IntRange(0, 3).Draw(s.rt, "ended early") == 0; s.missed {
		return nil
	}
	return b.AddRun(ctx, i, h)
}
