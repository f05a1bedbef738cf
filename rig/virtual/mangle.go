package virtual

import "math/rand/v2"

// mangler is a bad cable: it loses and damages what is sent.
type mangler struct {
	Line
	rnd   *rand.Rand
	whole bool // the last frame arrives as it was sent
}

// frame returns what arrives of a frame: the frame, a damaged copy of it in the same memory, or nil.
func (m *mangler) frame(p []byte) []byte {
	m.whole = true
	if m.Loss > 0 && m.rnd.Float64() < m.Loss {
		m.whole = false
		return nil
	}
	if m.Damage > 0 && m.rnd.Float64() < m.Damage {
		m.whole = false
		p[m.rnd.IntN(len(p))] ^= 1 << m.rnd.IntN(8)
	}
	return p
}
