package virtual

import "math"

// StepUS is the step of the integration in us. The stiffest part, the horn between gears and belt,
// swings at about 400 Hz: 120 steps a period.
const StepUS = 20

const (
	dt = StepUS * 1e-6 // s
	// slowSteps is how many steps share one reckoning of what changes slowly: angles' sines, creep,
	// heat, tension, tight spots, slips.
	slowSteps = 50
	slowDT    = slowSteps * dt
)

// World is some joints on one supply, and its own time since power-up. It is not safe for
// concurrent use.
type World struct {
	plants []*plant
	supply Supply
	volts  float64
	steps  int64
	line   Line
	hand   *Hand // nil: nobody touches it
}

// NewWorld makes joints from their truths. Each load hangs still, or lies against the end of its
// servo's travel, and no servo gets a pulse. It panics without a joint.
func NewWorld(truths []Truth) *World {
	if len(truths) == 0 {
		panic("virtual: a world needs a joint")
	}
	w := &World{supply: truths[0].Supply}
	for _, t := range truths {
		w.plants = append(w.plants, newPlant(t))
		if t.Supply.Ohm > w.supply.Ohm {
			w.supply = t.Supply
		}
		w.line.Loss = math.Max(w.line.Loss, t.Line.Loss)
		w.line.Damage = math.Max(w.line.Damage, t.Line.Damage)
	}
	w.volts = w.supply.OpenV
	return w
}

// Joints returns how many joints there are.
func (w *World) Joints() int { return len(w.plants) }

// TimeUS returns the time since power-up.
func (w *World) TimeUS() int64 { return w.steps * StepUS }

// Advance lets the world run to a time, at most one step beyond it.
func (w *World) Advance(toUS int64) {
	for w.steps*StepUS < toUS {
		if w.steps%slowSteps == 0 {
			if w.hand != nil {
				w.hand.act(w)
			}
			for _, p := range w.plants {
				p.slow(w.sinceArmed(p))
			}
		}
		w.step()
		w.steps++
	}
}

func (w *World) sinceArmed(p *plant) float64 {
	if p.armed < 0 {
		return -1
	}
	return float64(w.steps-p.armed) * dt
}

func (w *World) step() {
	amps := 0.0
	for _, p := range w.plants {
		amps += p.step(w.volts)
	}
	s := &w.supply
	if s.CapacitorF <= 0 || s.Ohm <= 0 {
		w.volts = math.Max(0, s.OpenV-s.Ohm*amps)
		return
	}
	// Implicit in the voltage, so that a small capacitor needs no small step.
	a := dt / s.CapacitorF
	w.volts = math.Max(0, (w.volts+a*(s.OpenV/s.Ohm-amps))/(1+a/s.Ohm))
}

// Pulse gives a joint's servo pulses of a width in us, from now on; 0 stops them, and the servo goes limp.
func (w *World) Pulse(joint int, us float64) {
	p := w.plants[joint]
	p.live = us > 0
	if !p.live {
		return
	}
	if p.armed < 0 {
		p.armed = w.steps
	}
	p.target = p.shaftAt(us)
}

// State is what a joint really does.
type State struct {
	AngleDeg, MotorDeg, DriveDeg float64 // joint, motor-side sensor's place, what the servo steers
	SpeedDegPerS                 float64 // of the joint
	TorqueNm                     float64 // carried by the transmission, joint side
	MotorA, SupplyA, SupplyV     float64
	TensionN                     float64 // pretension left
	MotorC                       float64 // temperature
}

// State returns what a joint really does now.
func (w *World) State(joint int) State {
	p := w.plants[joint]
	return State{AngleDeg: p.theta / rad, MotorDeg: p.h / rad, DriveDeg: p.phi / rad, SpeedDegPerS: p.w / rad,
		TorqueNm: p.torque, MotorA: p.motorA, SupplyA: p.supplyA, SupplyV: w.volts, TensionN: p.tension, MotorC: p.tempC}
}

// EnergyJ returns the energy of a joint that motion and springs hold, with the height of its load
// counted from the lowest point. Without a pulse it can only fall.
func (w *World) EnergyJ(joint int) float64 { return w.plants[joint].energy() }
