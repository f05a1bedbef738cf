package health

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
