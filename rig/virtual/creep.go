package virtual

import "math"

// creep is the growth of a printed part's bend under a lasting torque, joint side, rad. It is a row
// of springs with dashpots beside them (Kelvin-Voigt), whose compliances are cut from the law's
// spectrum of times, so it follows any load history and recovers by itself.
//
// Source: linear viscoelasticity. The spectra follow from two known integrals:
// tⁿ·Γ(1-n)/n = ∫(1 - e^(-t/τ)) τ^(n-1) dτ, and ln(1 + t/t0) = ∫(1 - e^(-t/τ)) e^(-t0/τ) dτ/τ.
type creep struct {
	sum     float64
	instant float64 // rad/N·m of all that is faster than the fastest cell
	cells   []cell
}

type cell struct{ compliance, share, bend float64 }

const (
	creepFromS, creepToS = 0.01, 1e6 // shorter is elastic, longer no run is
	cellsPerDecade       = 3
)

func newCreep(p Part) creep {
	var c creep
	if p.CreepDegPerNm == 0 {
		return c
	}
	decades := math.Log10(creepToS / creepFromS)
	n := int(math.Round(decades * cellsPerDecade))
	step := math.Pow(10, 1.0/cellsPerDecade)
	if e := p.CreepExponent; e > 0 {
		c.instant = p.CreepDegPerNm * rad * math.Pow(creepFromS, e) / math.Gamma(1-e)
	}
	lo := creepFromS
	for range n {
		hi := lo * step
		tau := math.Sqrt(lo * hi)
		var weight float64
		if e := p.CreepExponent; e > 0 {
			weight = (math.Pow(hi, e) - math.Pow(lo, e)) / math.Gamma(1-e)
		} else {
			weight = math.Exp(-1/tau) * math.Log(step) / math.Ln10
		}
		c.cells = append(c.cells, cell{compliance: p.CreepDegPerNm * rad * weight, share: -math.Expm1(-slowDT / tau)})
		lo = hi
	}
	return c
}

// advance lets the part creep for slowDT under a torque.
func (c *creep) advance(torque float64) {
	sum := c.instant * torque
	for i := range c.cells {
		x := &c.cells[i]
		x.bend += (x.compliance*torque - x.bend) * x.share
		sum += x.bend
	}
	c.sum = sum
}
