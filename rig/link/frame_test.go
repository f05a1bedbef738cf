package link_test

import (
	"errors"
	"strings"
	"testing"
	"testing/synctest"

	"limbgauge/rig/link"
	"limbgauge/rig/link/linktest"
)

// The ideal stand speaks protocol 1.0, which has no servo frame rate (SPEC.md, section 3): a host that wants one says
// so and sets nothing up, unless the joints stay limp.
func TestFrameRateOfAnOldStand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		wants := joints()
		wants[1].Servo.FrameHz = 250
		c, err := link.Open(t.Context(), ideal(t, linktest.Config{}), link.Options{Joints: wants})
		must(t, err)
		err = c.Setup(t.Context(), 100)
		var frame *link.FrameError
		if !errors.As(err, &frame) || frame.Joint != "hip" || frame.Hz != 250 || !strings.Contains(err.Error(), "protocol 1.0") {
			t.Errorf("set up: %v", err)
		}
		if err := c.Stand().FrameError(wants[0]); err != nil {
			t.Errorf("a joint that asks for nothing: %v", err)
		}
		must(t, c.Close())

		c, err = link.Open(t.Context(), ideal(t, linktest.Config{}), link.Options{Joints: wants, Limp: true})
		must(t, err)
		must(t, c.Setup(t.Context(), 100))
		if err := c.Arm(t.Context(), 1); err == nil {
			t.Error("joints that were set up to stay limp were armed")
		}
		must(t, c.Close())
	})
}
