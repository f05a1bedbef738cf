package emulated

import (
	"strings"
	"testing"
)

// TestSettings: the firmware's settings that README.md names build together, within the budget of flash and memory that its Makefile
// holds. Those with the greatest need of memory are among them.
func TestSettings(t *testing.T) {
	for _, settings := range []string{
		"JOINTS=1 JOINT_SENSOR={BUS} MONITOR={NONE} SUPPLY_FROM=NONE",
		"JOINTS=2 MOTOR_SENSORS=2 ANALOGUE=1 MOTOR_SENSOR={PIN(0),PIN(1)} SUPPLY_MIN_MV=6000 BAUD=1000000UL",
		"JOINTS=3 MOTOR_SENSORS=1 ANALOGUE=1 SUPPLY_FROM=PIN(6) BUTTON_PIN=2",
		"JOINTS=3 MOTOR_SENSORS=2",
		"JOINTS=3 MOTOR_SENSORS=3 ANALOGUE=1 JOINT_SENSOR={PIN(0),PIN(1),PIN(2)} SUPPLY_FROM=PIN(3) BUTTON_PIN=7",
		"JOINTS=3 MOTOR_SENSORS=3 SERVO_FRAME_HZ=333 BUTTON_PIN=2",
	} {
		t.Run(settings, func(t *testing.T) { Need(t, strings.Fields(settings)...) })
	}
}

// TestWrongShunts: the build names the setting when a joint's shunt is none or out of reach.
func TestWrongShunts(t *testing.T) {
	Need(t)
	for _, shunts := range []string{"{100,0,100}", "{100,100,1001}", "{100,100}"} {
		if _, err := Build(t.TempDir(), "JOINTS=3", "SHUNT_MOHM="+shunts); err == nil || !strings.Contains(err.Error(), "SHUNT_MOHM, 1 to 1000") {
			t.Errorf("SHUNT_MOHM %s: %v", shunts, err)
		}
	}
}
