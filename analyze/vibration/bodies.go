package vibration

import "math"

// TwoMass holds the frequencies of a drive and a load joined by a spring.
type TwoMass struct {
	AntiResonanceHz float64 // of the load on a held drive: what a step with the servo holding rings at
	ResonanceHz     float64 // seen from the drive
}

// TwoMassOf returns the frequencies of inertias jm (drive, referred to the joint) and jl (load),
// kg·m², joined by stiffness kt, N·m/rad: f_a = √(kt/jl)/2π, f_r = √(kt(jm+jl)/(jm·jl))/2π.
func TwoMassOf(jm, jl, kt float64) TwoMass {
	return TwoMass{math.Sqrt(kt/jl) / (2 * math.Pi), math.Sqrt(kt*(jm+jl)/(jm*jl)) / (2 * math.Pi)}
}

// StringTension returns the tension, N, of a belt span of free length m and mass kgPerM that sounds
// hz when plucked: 4·m'·L²·f². Bending stiffness makes short wide spans read high.
func StringTension(kgPerM, length, hz float64) float64 { return 4 * kgPerM * length * length * hz * hz }

// StringHz returns the frequency of a span under tension, the inverse of StringTension.
func StringHz(kgPerM, length, newton float64) float64 {
	return math.Sqrt(newton/kgPerM) / (2 * length)
}

// StringTensionU returns the relative standard uncertainty of a tension from those of frequency,
// length and mass.
func StringTensionU(uHz, uLength, uMass float64) float64 {
	return math.Sqrt(4*uHz*uHz + 4*uLength*uLength + uMass*uMass)
}
