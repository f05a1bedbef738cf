package virtual

import "math"

// bristle is Coulomb friction as one elastic bristle that slides when it is bent enough (Prandtl's
// element). Unlike a friction that is smooth in the speed it holds a joint where it came to rest.
type bristle struct {
	z       float64 // how far it is bent, rad
	coulomb float64 // N·m
	k, c    float64
	inertia float64
}

// bristleRad is how far the bristle bends before it slides: below what the angle sensors can see.
const bristleRad = 0.02 * rad

func newBristle(inertia float64) bristle { return bristle{inertia: inertia} }

// set gives the friction its size.
func (b *bristle) set(coulomb float64) {
	if coulomb == b.coulomb {
		return
	}
	b.coulomb = coulomb
	b.k = coulomb / bristleRad
	b.c = 2 * 0.3 * math.Sqrt(b.k*b.inertia) // or it would ring about its rest
}

// force returns the torque against a speed.
func (b *bristle) force(speed float64) float64 {
	f := b.k*b.z + b.c*speed
	if f > b.coulomb {
		return b.coulomb
	}
	if f < -b.coulomb {
		return -b.coulomb
	}
	return f
}

// move bends the bristle.
func (b *bristle) move(d float64) {
	b.z += d
	if b.z > bristleRad {
		b.z = bristleRad
	} else if b.z < -bristleRad {
		b.z = -bristleRad
	}
}

func (b *bristle) energy() float64 { return b.k * b.z * b.z / 2 }
