package analyze

import (
	"fmt"
	"math"

	"limbgauge/analyze/friction"
	"limbgauge/analyze/health"
)

const tightMethod = "friction by angle from the current of slow ramps: above the median of the travel or of the places around by 4 robust standard deviations in neighbouring stretches of 4 deg, both ways, in four cycles of five [common practice]"

// tightMeasures reports the highest tight spot and where it is.
func (c *subject) tightMeasures(d driven, points []rubPoint) []health.Measure {
	unseen := func(why string) []health.Measure {
		return []health.Measure{health.Unseen("tight_spot", health.Total, tightMethod, why)}
	}
	if d.why != "" {
		return unseen(d.why)
	}
	profile, err := friction.NewProfile(passesOf(points), profileBin)
	if err != nil {
		return unseen(err.Error())
	}
	rule := friction.DefaultTightRule()
	rule.MinHeight = tightShare * profile.Level.Value
	if len(d.rated) > 0 {
		rule.MinHeight = math.Max(rule.MinHeight, tightOfStall*d.rated[len(d.rated)-1].StallNm*c.j.Ratio())
	}
	spots, why := friction.TightSpots(profile, rule)
	switch {
	case why != "":
		return unseen(why)
	case len(spots) == 0:
		most, why := rule.MinHeight, "no tight spot was found; lower ones are not looked for"
		if top := profile.Highest(); top > most {
			most, why = top, "no tight spot was found; the friction seen scatters by place, so that one up to this height may hide"
		}
		return []health.Measure{health.Bound("tight_spot", health.Total, health.BoundHigh, most, math.NaN(), tightMethod, why)}
	}
	// The scale of the current, and a peak that a stretch of 4 deg flattens.
	h := spots[0].Height
	h.U = math.Hypot(h.U, math.Hypot(d.slopeRel, flatten)*h.Value)
	if h.Value-h.Expanded() < surelyShare*rule.MinHeight {
		return []health.Measure{health.Bound("tight_spot", health.Total, health.BoundHigh, h.Value+h.Expanded(), math.NaN(), tightMethod,
			fmt.Sprintf("friction stands out at %.0f deg, but no more than cycles differ", spots[0].Angle.Value))}
	}
	return []health.Measure{fromEstimate("tight_spot", health.Total, h, tightMethod),
		fromEstimate("tight_spot_angle", health.Total, spots[0].Angle, tightMethod),
		fromEstimate("tight_spot_width", health.Total, spots[0].Width, tightMethod)}
}

const (
	// tightShare of the joint's usual friction and tightOfStall of the stall torque: a lower bump is
	// no reason to take a joint apart [common practice].
	tightShare   = 0.3
	tightOfStall = 0.02
	// surelyShare of the least height a spot must surely have to be one [common practice].
	surelyShare = 0.5
	// flatten is the relative standard uncertainty for a peak averaged over a stretch.
	flatten = 0.06
)

// passesOf turns points into passes of signed torque for the profile; only the slow ramps are used,
// so that friction that grows with speed does not look like a place.
func passesOf(points []rubPoint) []friction.Pass {
	slow := slowest(points)
	type key struct{ dir, cycle int }
	at := map[key]int{}
	var out []friction.Pass
	for _, p := range points {
		if p.rate > slow*1.2 || math.IsNaN(p.nm) {
			continue
		}
		k := key{p.dir, p.cycle}
		i, ok := at[k]
		if !ok {
			i = len(out)
			at[k] = i
			out = append(out, friction.Pass{Dir: p.dir, Cycle: p.cycle})
		}
		out[i].Angle = append(out[i].Angle, p.angle)
		out[i].Torque = append(out[i].Torque, p.nm*float64(p.dir)-p.push)
	}
	return out
}
