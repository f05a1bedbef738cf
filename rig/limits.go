package rig

// Limits maps the name of a measure to the greatest (or, for measures where more is better, the
// least) value the builder accepts. A measure without an entry gets a figure without a verdict.
type Limits map[string]float64

// LimitKey ties a key of [joint.limits] to the measure it limits and the unit it is stated in.
type LimitKey struct {
	Key     string // as written in bench.toml
	Measure string
	Unit    string
}

// LimitKeys lists every key [joint.limits] may hold, in the order they are documented.
func LimitKeys() []LimitKey {
	return []LimitKey{
		{"reversal_error_deg", "reversal_error", "deg"},
		{"repeatability_deg", "repeatability", "deg"},
		{"accuracy_deg", "accuracy", "deg"},
		{"play_deg", "play", "deg"},
		{"compliance_deg_per_nm", "compliance", "deg/N·m"},
		{"friction_nm", "friction", "N·m"},
		{"tight_spot_nm", "tight_spot", "N·m"},
		{"torque_use", "torque_use", "1"},
		{"belt_tension_n", "belt_tension", "N"},
		{"creep_deg", "creep", "deg"},
		{"supply_sag_v", "supply_sag", "V"},
		{"stall_time_s", "stall_time", "s"},
		{"offset_step_deg", "offset_step", "deg"},
		{"overshoot_deg", "overshoot", "deg"},
		{"settle_time_s", "settle_time", "s"},
		{"lost_samples", "lost_samples", "1"},
	}
}
