package play

import "math"

const (
	// poolFrom is how many rows are worth pooling.
	poolFrom = 300
	// poolLevels is into how many levels the torque is cut then, up to the greatest.
	poolLevels = 200
)

// pool averages rows that many passes repeat at one level of torque, for searches: what the rows of one
// level scatter by is the same whatever model is tried, so sums of squares differ by the same, and an
// hour of passes is searched as fast as one. Few rows are returned as they are.
func pool(rows []row, tmax float64) []row {
	if len(rows) < poolFrom {
		return rows
	}
	type key struct {
		static     bool
		dir, level int
		flank      float64
	}
	at := map[key]int{}
	var out []row
	for i := range rows {
		r := &rows[i]
		k := key{r.Static, r.Dir, int(math.Round(poolLevels * r.Load / tmax)), r.flank}
		j, ok := at[k]
		if !ok {
			j = len(out)
			at[k] = j
			out = append(out, row{Point: Point{Dir: r.Dir, Static: r.Static}, flank: r.flank, block: j})
		}
		p := &out[j]
		p.w += r.w
		p.Load, p.Defl, p.Angle = p.Load+r.w*r.Load, p.Defl+r.w*r.Defl, p.Angle+r.w*r.Angle
		p.cos, p.sin, p.sin2, p.lag = p.cos+r.w*r.cos, p.sin+r.w*r.sin, p.sin2+r.w*r.sin2, p.lag+r.w*r.lag
	}
	for i := range out {
		p := &out[i]
		p.Load, p.Defl, p.Angle = p.Load/p.w, p.Defl/p.w, p.Angle/p.w
		p.cos, p.sin, p.sin2, p.lag = p.cos/p.w, p.sin/p.w, p.sin2/p.w, p.lag/p.w
	}
	return out
}
