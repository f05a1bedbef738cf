package web

import (
	"context"
	"encoding/json"
	"math"
	"net/http"
	"slices"

	"limbgauge/analyze/book"
	"limbgauge/analyze/report"
	"limbgauge/rig"
)

// benchView is the page of the stand itself.
type benchView struct {
	Stand     string
	Virtual   bool
	Cautions  []string
	Joints    []benchJoint
	Routines  []benchRoutine
	Endure    string   // the routine that means an endurance test
	Revisions []string // newest first
	// Assemblies are the tags of earlier runs, newest first.
	Assemblies        []string
	TagMost, NoteMost int
	Silence           string
	Facts             string // of the joints, JSON for the script
}

type benchJoint struct {
	Name, What string
	Picked     bool
}

type benchRoutine struct {
	Name, What string
	Picked     bool
}

// jointFacts are what the script draws with.
type jointFacts struct {
	Name    string     `json:"name"`
	Range   [2]float64 `json:"range"`
	Peak    float64    `json:"peak_nm"` // greatest load torque in the range; 0 without a load
	Torque  float64    `json:"torque_nm"`
	Down    float64    `json:"down_deg"`
	Current float64    `json:"current_max_a"`
	// TakesS is how long each routine moves the joint.
	TakesS map[string]float64 `json:"takes_s"`
}

func (s *server) bench(ctx context.Context, r *http.Request) (any, error) {
	b, err := s.desk.Bench()
	if err != nil {
		return nil, err
	}
	v := benchView{Stand: "stand on port " + b.Stand.Port, Virtual: b.Stand.Port == rig.PortVirtual, Cautions: report.Cautions(), Endure: rig.GaitName, TagMost: tagMost, NoteMost: noteMost, Silence: Silence()}
	if v.Virtual {
		v.Stand = "virtual stand: a joint of numbers, nothing moves"
	}
	var names []string
	for _, j := range b.Joints {
		names = append(names, j.Name)
	}
	joints, routines := asked(r, "joint", names), asked(r, "routine", rig.RoutineNames())
	var facts []jointFacts
	for _, j := range b.Joints {
		v.Joints = append(v.Joints, benchJoint{j.Name, j.Kind(), slices.Contains(joints, j.Name)})
		f := jointFacts{Name: j.Name, Range: j.RangeDeg, Current: j.CurrentMaxA, TakesS: map[string]float64{}}
		for _, n := range rig.RoutineNames() {
			if r, err := rig.BuiltinRoutine(n, j); err == nil {
				f.TakesS[n] = r.Duration(r.Moves[0].TargetDeg).Seconds()
			}
		}
		if l := j.Load; l != nil {
			f.Torque, f.Down = l.Amplitude(), l.DownDeg
			for a := j.RangeDeg[0]; a <= j.RangeDeg[1]; a++ {
				f.Peak = max(f.Peak, math.Abs(f.Torque*math.Sin((a-l.DownDeg)*math.Pi/180)))
			}
		}
		facts = append(facts, f)
	}
	text, err := json.Marshal(facts)
	if err != nil {
		return nil, err
	}
	v.Facts = string(text)
	for _, k := range rig.RoutineKinds() {
		v.Routines = append(v.Routines, benchRoutine{k.Name, k.What, slices.Contains(routines, k.Name)})
	}
	_, err = withBook(ctx, s, func(k *book.Book) (none struct{}, err error) {
		revs, err := k.Revisions(ctx)
		if err != nil {
			return none, err
		}
		for _, r := range slices.Backward(revs) {
			v.Revisions = append(v.Revisions, r.Name)
		}
		runs, err := k.Runs(ctx)
		for _, r := range slices.Backward(runs) {
			if r.Assembly != "" && !slices.Contains(v.Assemblies, r.Assembly) && len(v.Assemblies) < tagsMost {
				v.Assemblies = append(v.Assemblies, r.Assembly)
			}
		}
		return none, err
	})
	return v, err
}

// asked returns which of the names a request's query asks for, the first of them where it asks for none that is
// known: "/?joint=knee&routine=check" opens the page with both chosen.
func asked(r *http.Request, key string, names []string) (picked []string) {
	for _, n := range names {
		if slices.Contains(r.URL.Query()[key], n) {
			picked = append(picked, n)
		}
	}
	if picked == nil && len(names) > 0 {
		picked = names[:1]
	}
	return picked
}

// tagsMost is how many tags of assemblies are offered.
const tagsMost = 20
