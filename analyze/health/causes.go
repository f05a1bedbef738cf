package health

import "slices"

// Cause names what a finding says is wrong.
type Cause string

// The causes. A joint without fault says None.
const (
	None             Cause = "none"
	BeltTensionLow   Cause = "belt_tension_low"
	BeltSlack        Cause = "belt_slack"
	ServoPlay        Cause = "servo_play"
	ExcessCompliance Cause = "excess_compliance"
	Creep            Cause = "creep"
	HornSlip         Cause = "horn_slip"
	ToothSkip        Cause = "tooth_skip"
	TightSpot        Cause = "tight_spot"
	HighFriction     Cause = "high_friction"
	NearStall        Cause = "near_stall"
	Stall            Cause = "stall"
	SupplySag        Cause = "supply_sag"
	Hunting          Cause = "hunting"
	SensorFault      Cause = "sensor_fault"
	LostSamples      Cause = "lost_samples"
)

// Causes lists every cause, None first.
func Causes() []Cause {
	return []Cause{None, BeltTensionLow, BeltSlack, ServoPlay, ExcessCompliance, Creep, HornSlip,
		ToothSkip, TightSpot, HighFriction, NearStall, Stall, SupplySag, Hunting, SensorFault, LostSamples}
}

// tell lists the measures that show what is wrong in a joint. Stall, sag of the supply and lost samples
// are not among them: they are known of the shortest run, and that there was none of them in a second
// says nothing of the joint.
var tell = []string{"play", "compliance", "belt_tension", "friction", "tight_spot", "torque_use", "creep", "offset_step"}

// always lists what the shortest run shows: a verdict on it is none on the joint.
var always = []string{"stall_time", "supply_sag", "lost_samples", "heat_share", "temp_rise"}

// Tells says whether a measure shows what is wrong in a joint.
func (m Measure) Tells() bool { return slices.Contains(tell, m.Name) }

// Silent says whether measures say nothing of their joint: those that would show what is wrong are there,
// none of them was seen, and no other was judged.
func Silent(ms []Measure) bool {
	asked := false
	for _, m := range ms {
		judged := (m.Verdict == Pass || m.Verdict == Fail) && !slices.Contains(always, m.Name)
		if judged || m.Tells() && m.Status != NotObservable {
			return false
		}
		asked = asked || m.Tells()
	}
	return asked
}

// Silent says whether nothing can be said of a joint: no measure that would show what is wrong was seen,
// and nothing else was found.
func (j Joint) Silent() bool {
	return Silent(j.Measures) && !slices.ContainsFunc(j.Findings, func(f Finding) bool { return f.Cause != None })
}
