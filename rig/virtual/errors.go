package virtual

import (
	"fmt"
	"math"

	"limbgauge/rig"
)

// Misreading is an error of sensors or servo that no fault is, but a calibration finds.
type Misreading struct {
	Name    string // as [what]_[unit]
	Meaning string
	least   float64
	most    float64
	apply   func(t *Truth, size float64)
}

// Misreadings lists every such error that can be put in. Sizes of form are peaks; scales and gains are
// relative, 0.02 for 2 %.
func Misreadings() []Misreading {
	encoder := func(side string, of func(*Truth) *Encoder) []Misreading {
		return []Misreading{
			{side + "_zero_deg", "the " + side + " sensor reads so much too much", -180, 180, func(t *Truth, v float64) { of(t).ZeroDeg = v }},
			{side + "_scale", "and so much per deg", -0.3, 0.3, func(t *Truth, v float64) { of(t).ScaleError = v }},
			{side + "_wave1_deg", "off-centre magnet: one wave per turn", 0, 20, func(t *Truth, v float64) { of(t).Wave1Deg = v }},
			{side + "_wave2_deg", "unequal channels: two waves per turn", 0, 20, func(t *Truth, v float64) { of(t).Wave2Deg = v }},
		}
	}
	out := encoder("joint", func(t *Truth) *Encoder { return &t.Sensors.Joint })
	out = append(out, encoder("motor", func(t *Truth) *Encoder { return &t.Sensors.Motor })...)
	return append(out,
		Misreading{"current_zero_a", "the current reads so much too much", -1, 1, func(t *Truth, v float64) { t.Sensors.CurrentOffsetA = v }},
		Misreading{"current_gain", "and so much per A", -0.3, 0.3, func(t *Truth, v float64) { t.Sensors.CurrentGainError = v }},
		Misreading{"supply_zero_v", "the voltage reads so much too much", -2, 2, func(t *Truth, v float64) { t.Sensors.SupplyOffsetV = v }},
		Misreading{"supply_gain", "and so much per V", -0.3, 0.3, func(t *Truth, v float64) { t.Sensors.SupplyGainError = v }},
		Misreading{"servo_middle_us", "the servo's middle lies at so much longer pulses", -200, 200, func(t *Truth, v float64) { t.Servo.MiddleUS = v }},
		Misreading{"servo_travel", "the servo turns so much further per us", -0.3, 0.3, func(t *Truth, v float64) { t.Servo.TravelError = v }},
	)
}

// WithMisreading returns a copy of t with such an error of a size. It fails with ErrNoFault for an
// unknown name and a size out of range.
func WithMisreading(t Truth, name string, size float64) (Truth, error) {
	var names []string
	for _, m := range Misreadings() {
		names = append(names, m.Name)
		if m.Name != name {
			continue
		}
		if !(size >= m.least && size <= m.most) || math.IsNaN(size) {
			return t, fmt.Errorf("%w: %s of size %g, wants %g to %g", ErrNoFault, name, size, m.least, m.most)
		}
		t = t.clone()
		m.apply(&t, size)
		return t, nil
	}
	return t, fmt.Errorf("%w: %w", ErrNoFault, &rig.NameError{What: "error", Name: name, Known: names})
}
