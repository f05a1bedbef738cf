package virtual

import "sync"

// Hand is what a person does at a stand while its servos are limp: set a joint into a jig, let a
// known current flow in place of its servo, set the supply. It is safe for concurrent use; what it
// does takes effect within a millisecond of the stand's time. The zero value holds nothing.
type Hand struct {
	mu     sync.Mutex
	joints map[int]grip
	volts  float64 // 0: as the truth says
}

// grip is how one joint is held.
type grip struct {
	jig  bool
	deg  float64
	plug bool // the servo is unplugged, amps flow in its place
	amps float64
}

// Jig holds a joint (its place in Options.Joints) at an angle in deg.
func (h *Hand) Jig(joint int, deg float64) {
	h.hold(joint, func(g *grip) { g.jig, g.deg = true, deg })
}

// Draw unplugs a joint's servo and lets a current in A flow in its place.
func (h *Hand) Draw(joint int, amps float64) {
	h.hold(joint, func(g *grip) { g.plug, g.amps = true, amps })
}

// Supply sets the supply's open voltage in V.
func (h *Hand) Supply(volts float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.volts = volts
}

// Release lets go of a joint and plugs its servo in.
func (h *Hand) Release(joint int) { h.hold(joint, func(g *grip) { *g = grip{} }) }

func (h *Hand) hold(joint int, change func(*grip)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.joints == nil {
		h.joints = map[int]grip{}
	}
	g := h.joints[joint]
	change(&g)
	h.joints[joint] = g
}

// act carries out what the hand does now.
func (h *Hand) act(w *World) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for i, p := range w.plants {
		p.grip = h.joints[i]
	}
	if h.volts > 0 {
		w.supply.OpenV = h.volts
	}
}

// still is a step of a joint that is held or unplugged: nothing turns. The motor side follows the
// joint, as slack and give of a held leg hang without load.
func (p *plant) still() float64 {
	if p.grip.jig {
		p.theta = p.grip.deg * rad
		p.h = (p.theta - p.slips.offset) / p.invRatio
		p.phi = p.h
	}
	p.wPhi, p.wH, p.w, p.torque, p.motorA = 0, 0, 0, 0, 0
	p.supplyA = p.motor.idleA
	if p.grip.plug {
		p.supplyA = p.grip.amps
	}
	p.shunt += (p.supplyA - p.shunt) * shuntShare
	return p.supplyA
}
