package stats

import (
	"math"
	"strings"
	"testing"
)

// The models of the NIST nonlinear sets, b from 0.
var strdModels = map[string]func(b []float64, x, x2 float64) float64{
	"Bennett5": func(b []float64, x, _ float64) float64 { return b[0] * math.Pow(b[1]+x, -1/b[2]) },
	"BoxBOD":   misra1a, "Misra1a": misra1a,
	"Chwirut1": chwirut, "Chwirut2": chwirut,
	"DanWood":  func(b []float64, x, _ float64) float64 { return b[0] * math.Pow(x, b[1]) },
	"Eckerle4": func(b []float64, x, _ float64) float64 { return b[0] / b[1] * math.Exp(-sq((x-b[2])/b[1])/2) },
	"ENSO": func(b []float64, x, _ float64) float64 {
		w := 2 * math.Pi * x
		return b[0] + b[1]*math.Cos(w/12) + b[2]*math.Sin(w/12) + b[4]*math.Cos(w/b[3]) + b[5]*math.Sin(w/b[3]) +
			b[7]*math.Cos(w/b[6]) + b[8]*math.Sin(w/b[6])
	},
	"Gauss1": gauss, "Gauss2": gauss, "Gauss3": gauss,
	"Hahn1": cubics, "Thurber": cubics,
	"Kirby2": func(b []float64, x, _ float64) float64 {
		return (b[0] + b[1]*x + b[2]*x*x) / (1 + b[3]*x + b[4]*x*x)
	},
	"Lanczos1": lanczos, "Lanczos2": lanczos, "Lanczos3": lanczos,
	"MGH09":   func(b []float64, x, _ float64) float64 { return b[0] * (x*x + x*b[1]) / (x*x + x*b[2] + b[3]) },
	"MGH10":   func(b []float64, x, _ float64) float64 { return b[0] * math.Exp(b[1]/(x+b[2])) },
	"MGH17":   func(b []float64, x, _ float64) float64 { return b[0] + b[1]*math.Exp(-x*b[3]) + b[2]*math.Exp(-x*b[4]) },
	"Misra1b": func(b []float64, x, _ float64) float64 { return b[0] * (1 - math.Pow(1+b[1]*x/2, -2)) },
	"Misra1c": func(b []float64, x, _ float64) float64 { return b[0] * (1 - math.Pow(1+2*b[1]*x, -.5)) },
	"Misra1d": func(b []float64, x, _ float64) float64 { return b[0] * b[1] * x / (1 + b[1]*x) },
	"Nelson":  func(b []float64, x, x2 float64) float64 { return b[0] - b[1]*x*math.Exp(-b[2]*x2) },
	"Rat42":   func(b []float64, x, _ float64) float64 { return b[0] / (1 + math.Exp(b[1]-b[2]*x)) },
	"Rat43":   func(b []float64, x, _ float64) float64 { return b[0] / math.Pow(1+math.Exp(b[1]-b[2]*x), 1/b[3]) },
	"Roszman1": func(b []float64, x, _ float64) float64 {
		return b[0] - b[1]*x - math.Atan(b[2]/(x-b[3]))/math.Pi
	},
}

func sq(x float64) float64 { return x * x }

func misra1a(b []float64, x, _ float64) float64 { return b[0] * (1 - math.Exp(-b[1]*x)) }
func chwirut(b []float64, x, _ float64) float64 { return math.Exp(-b[0]*x) / (b[1] + b[2]*x) }
func gauss(b []float64, x, _ float64) float64 {
	return b[0]*math.Exp(-b[1]*x) + b[2]*math.Exp(-sq((x-b[3])/b[4])) + b[5]*math.Exp(-sq((x-b[6])/b[7]))
}
func cubics(b []float64, x, _ float64) float64 {
	return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / (1 + x*(b[4]+x*(b[5]+x*b[6])))
}
func lanczos(b []float64, x, _ float64) float64 {
	return b[0]*math.Exp(-b[1]*x) + b[2]*math.Exp(-b[3]*x) + b[4]*math.Exp(-b[5]*x)
}

// Every nonlinear set of NIST from its nearer start ("Start 2") to six digits of every parameter.
func TestNISTNonlinear(t *testing.T) {
	if len(strdModels) != 27 {
		t.Fatalf("%d models", len(strdModels))
	}
	for name, model := range strdModels {
		s := openStrd(t, "nonlinear/"+name+".dat")
		d := s.columns(t)
		y, x := d[0], d[1]
		x2 := x
		if name == "Nelson" {
			x2 = d[2]
			y = append([]float64(nil), y...)
			for i := range y {
				y[i] = math.Log(y[i])
			}
		}
		var start, value, sd []float64
		for _, l := range s.lines[:60] {
			l = strings.TrimSpace(l)
			if n := numbers(l); strings.HasPrefix(l, "b") && strings.Contains(l, "=") && len(n) == 4 {
				start, value, sd = append(start, n[1]), append(value, n[2]), append(sd, n[3])
			}
		}
		c, err := FitCurve(len(y), start, func(p, r []float64) {
			for i := range y {
				r[i] = model(p, x[i], x2[i]) - y[i]
			}
		})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		worst := 15.0
		for j := range value {
			atLeast(t, name+" parameter", c.Coef[j], value[j], 6)
			worst = math.Min(worst, digits(c.Coef[j], value[j]))
			if name != "Lanczos1" {
				atLeast(t, name+" sd", c.Estimate(j).U, sd[j], 4)
			}
		}
		if name != "Lanczos1" {
			atLeast(t, name+" RSS", c.RSS, s.after(t, "Residual Sum of Squares")[0], 6)
		}
		t.Logf("%-9s %2d steps, %.1f digits", name, c.Steps, worst)
	}
}
