package health

import (
	"encoding/json"
	"math"
)

// Schema is the version of the JSON form.
const Schema = 1

// Health is what the analysis answers about one run.
type Health struct {
	Schema   int     `json:"schema"`
	Run      string  `json:"run"`
	Leg      string  `json:"leg"`
	Revision string  `json:"revision"`
	Joints   []Joint `json:"joints"`
	// Decision names the rule behind the verdicts.
	Decision string `json:"decision,omitempty"`
	// BareRuns says by joint which run of the bare servo was taken off where that is not the one that
	// the joint's set-up names; "none" where none was for all that.
	BareRuns map[string]string `json:"bare_runs,omitempty"`
}

// Joint is the answer for one joint. Findings is never empty: a joint without fault says cause "none".
type Joint struct {
	Joint    string    `json:"joint"`
	Measures []Measure `json:"measures"`
	Findings []Finding `json:"findings"`
	// Curves are the pictures behind the figures, for report and page; they are not part of the JSON.
	Curves []Curve `json:"-"`
	// Notes are remarks on the data that are no findings, in whole sentences.
	Notes []string `json:"-"`
}

// Path names the stretch of a joint a measure is about.
type Path string

// The paths.
const (
	NoPath       Path = ""
	Servo        Path = "servo"        // command to motor side
	Transmission Path = "transmission" // motor side to joint
	Total        Path = "total"        // command to joint
)

// Paths lists them, the whole joint's last.
func Paths() []Path { return []Path{NoPath, Servo, Transmission, Total} }

// Status says what kind of knowledge a measure is.
type Status string

// The statuses.
const (
	Measured      Status = "measured"
	BoundLow      Status = "bound_low"      // the true value is at least Value
	BoundHigh     Status = "bound_high"     // the true value is at most Value
	NotObservable Status = "not_observable" // Reason says why
)

// Verdict compares a measure with what the builder accepts.
type Verdict string

// The verdicts. NoVerdict stands where no limit is given.
const (
	NoVerdict Verdict = ""
	Pass      Verdict = "pass"
	Fail      Verdict = "fail"
	Unproven  Verdict = "unproven" // the limit lies inside the uncertainty, or the value could not be seen
)

// Measure is a figure with its doubt. Value, Uncertainty and Limit are NaN where there is none.
// Uncertainty is expanded, 95 % coverage, in Unit.
type Measure struct {
	Name        string
	Path        Path
	Value       float64
	Unit        string
	Uncertainty float64
	Status      Status
	Limit       float64
	Verdict     Verdict
	Method      string
	Reason      string
	// LimitFrom says where Limit comes from: FromBench, or the runs that make the joint's baseline.
	LimitFrom string
}

// FromBench says that the builder states a limit.
const FromBench = "bench.toml"

// OnlyFails says that a measure is known from the side alone on which it can miss its limit, never keep
// it: a greatest value of which only the least is known.
func (m Measure) OnlyFails() bool {
	d, _ := DefinitionOf(m.Name)
	return d.More && m.Status == BoundHigh || !d.More && m.Status == BoundLow
}

// FromBaseline says whether a measure was judged by what the joint itself was before, since no
// limit is stated.
func (m Measure) FromBaseline() bool { return m.LimitFrom != "" && m.LimitFrom != FromBench }

type measureJSON struct {
	Name        string   `json:"name"`
	Path        Path     `json:"path"`
	Value       *float64 `json:"value"`
	Unit        string   `json:"unit"`
	Uncertainty *float64 `json:"uncertainty"`
	Status      Status   `json:"status"`
	Limit       *float64 `json:"limit"`
	Verdict     Verdict  `json:"verdict"`
	Method      string   `json:"method"`
	Reason      string   `json:"reason"`
	LimitFrom   string   `json:"limit_from,omitempty"`
}

func opt(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func val(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// MarshalJSON writes absent figures as null.
func (m Measure) MarshalJSON() ([]byte, error) {
	return json.Marshal(measureJSON{m.Name, m.Path, opt(m.Value), m.Unit, opt(m.Uncertainty),
		m.Status, opt(m.Limit), m.Verdict, m.Method, m.Reason, m.LimitFrom})
}

// UnmarshalJSON reads null as NaN.
func (m *Measure) UnmarshalJSON(data []byte) error {
	var j measureJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*m = Measure{j.Name, j.Path, val(j.Value), j.Unit, val(j.Uncertainty),
		j.Status, val(j.Limit), j.Verdict, j.Method, j.Reason, j.LimitFrom}
	return nil
}

// Severity says how much a finding matters.
type Severity string

// The severities.
const (
	SeverityOK      Severity = "ok"      // cause none
	SeverityHint    Severity = "hint"    // worth knowing, nothing to do yet
	SeverityWarning Severity = "warning" // will become a fault, or makes other figures doubtful
	SeverityFault   Severity = "fault"   // something to repair
)

// Finding is what a run says is wrong, with its evidence and what else it could be.
type Finding struct {
	Cause       Cause    `json:"cause"`
	Severity    Severity `json:"severity"`
	Confidence  float64  `json:"confidence"` // 0..1
	Part        string   `json:"part"`
	Evidence    []string `json:"evidence"`
	CouldAlsoBe []string `json:"could_also_be"`
	Next        string   `json:"next"`
}

// Find returns the joint's measure of that name and path; ok is false when it is not there.
func (j Joint) Find(name string, path Path) (m Measure, ok bool) {
	for _, m := range j.Measures {
		if m.Name == name && m.Path == path {
			return m, true
		}
	}
	return Measure{}, false
}

// Worst returns the joint's worst verdict: fail before unproven before pass before none. Limits that no
// run could prove kept count only where there are no others.
func (j Joint) Worst() Verdict {
	rank := map[Verdict]int{Fail: 3, Unproven: 2, Pass: 1}
	worst, beyond := NoVerdict, NoVerdict
	for _, m := range j.Measures {
		if m.Verdict == Unproven && m.OnlyFails() {
			beyond = Unproven
			continue
		}
		if rank[m.Verdict] > rank[worst] {
			worst = m.Verdict
		}
	}
	if worst == NoVerdict {
		return beyond
	}
	return worst
}
