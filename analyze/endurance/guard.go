package endurance

import (
	"fmt"
	"math"

	"limbgauge/analyze/drive"
	"limbgauge/rig"
)

const (
	// tauS is the thermal time constant taken for a servo's winding; contShare of the stall current may
	// flow for long. Both as in the measure heat_share [common practice].
	tauS, contShare = 120.0, 0.25
)

// Guard watches a joint while it moves. It keeps the winding's heat from one run to the next.
type Guard struct {
	// HeatMost and TempMostC are the limits; 0 for none.
	HeatMost, TempMostC float64
	joint               rig.Joint
	motor               drive.Motor
	law                 drive.Law
	rated               bool

	heat    float64 // first-order average of squared winding current over what may last
	lastUS  int64
	lastMdg int32
	began   bool
	lagS    float64
	blindS  float64
	tempC   float64
}

// NewGuard makes the guard of a joint with the usual limits. Of a supply current whose law is not
// stated it takes the law that gives the least heat, so that it never ends a test for nothing.
func NewGuard(j rig.Joint) *Guard {
	g := &Guard{HeatMost: HeatMost, TempMostC: TempMostC, joint: j, law: drive.Law(j.Servo.CurrentLaw), tempC: math.NaN()}
	var rated []drive.Rating
	for _, r := range j.Servo.Rated {
		rated = append(rated, drive.Rating(r))
	}
	if len(rated) > 0 {
		m, err := drive.At(rated, j.Servo.IdleA, rated[len(rated)-1].Volts)
		g.motor, g.rated = m, err == nil && m.StallA > m.IdleA
	}
	if g.law == drive.LawUnknown {
		g.law = drive.LawMotor
	}
	return g
}

// Heat returns the share of what the winding may carry for long, NaN where it is not known. TempC is the
// newest temperature, NaN where none is measured.
func (g *Guard) Heat() float64 {
	if !g.rated {
		return math.NaN()
	}
	return g.heat
}

// TempC returns the newest temperature, NaN where none is measured.
func (g *Guard) TempC() float64 { return g.tempC }

// Rest lets the winding cool between runs.
func (g *Guard) Rest(seconds float64) {
	g.heat *= math.Exp(-seconds / tauS)
	g.began, g.lagS, g.blindS = false, 0, 0
}

// Look takes the next samples and returns the *Stop of the first rule they break, nil for none.
func (g *Guard) Look(b *rig.Batch) error {
	for i := range b.Len() {
		if s := g.sample(b, i); s != nil {
			return s
		}
	}
	return nil
}

func (g *Guard) sample(b *rig.Batch, i int) *Stop {
	dt := float64(b.TimeUS[i]-g.lastUS) / 1e6
	if !g.began || dt <= 0 || dt > BlindS {
		dt = 0 // a new run, or a gap
	}
	speed := 0.0
	if dt > 0 && g.lastMdg != rig.Missing && b.Angle[i] != rig.Missing {
		speed = math.Abs(float64(b.Angle[i]-g.lastMdg)) / 1000 / dt * g.joint.Ratio()
	}
	g.began, g.lastUS, g.lastMdg = true, b.TimeUS[i], b.Angle[i]
	if s := g.warm(b, i, dt, speed); s != nil {
		return s
	}
	return g.follow(b, i, dt)
}

// warm follows the winding's heat, x' = (I²/I_cont² - x)/τ, and the temperature.
func (g *Guard) warm(b *rig.Batch, i int, dt, speed float64) *Stop {
	if g.rated && b.Current[i] != rig.Missing {
		amps := math.Max(0, float64(b.Current[i])/1000)
		if g.law == drive.LawDuty {
			share := math.Max(0, amps-g.motor.IdleA) / (g.motor.StallA - g.motor.IdleA)
			amps = g.motor.IdleA + (g.motor.StallA-g.motor.IdleA)*drive.TorqueFraction(g.law, share, math.Min(1, speed/g.motor.NoLoadDegPerS))
		}
		may := contShare * g.motor.StallA
		now := amps * amps / (may * may)
		g.heat = now + (g.heat-now)*math.Exp(-dt/tauS)
		if g.HeatMost > 0 && g.heat > g.HeatMost {
			return stop(Heat, fmt.Sprintf("the winding's heat by its current is %.2f of what may last, allowed is %.2f", g.heat, g.HeatMost))
		}
	}
	if b.Temp[i] != rig.Missing {
		g.tempC = float64(b.Temp[i]) / 100
		if g.TempMostC > 0 && g.tempC > g.TempMostC {
			return stop(Temperature, fmt.Sprintf("the temperature is %.1f °C, allowed are %.1f", g.tempC, g.TempMostC))
		}
	}
	return nil
}

// follow holds that the joint is seen, and goes where it is told.
func (g *Guard) follow(b *rig.Batch, i int, dt float64) *Stop {
	if b.Angle[i] == rig.Missing || b.Command[i] == rig.Missing {
		if g.blindS += dt; g.blindS > BlindS {
			return stop(Blind, fmt.Sprintf("the joint's angle was not seen for %.1f s", g.blindS))
		}
		return nil
	}
	g.blindS = 0
	behind := math.Abs(float64(b.Command[i]-b.Angle[i])) / 1000
	if behind <= FollowDeg {
		g.lagS = 0
		return nil
	}
	if g.lagS += dt; g.lagS > FollowS {
		return stop(Follow, fmt.Sprintf("the joint is %.0f deg off its command for %.1f s", behind, g.lagS))
	}
	return nil
}
