package record

import (
	"fmt"
	"slices"
	"strings"
)

// csvColumn is one column of the CSV log format.
type csvColumn struct {
	name   string
	needed bool
	means  string // for hints
}

// The columns by number; csvColumns describes them in this order.
const (
	csvTime = iota
	csvJoint
	csvMove
	csvCommand
	csvAngle
	csvMotor
	csvCurrent
	csvSupply
	csvTorque
	csvTemp
	csvCount
)

func csvColumns() [csvCount]csvColumn {
	return [csvCount]csvColumn{
		{"time_s", true, "seconds, in rising order"},
		{"joint", true, "the joint's name"},
		{"move", false, "what the joint was doing"},
		{"command_deg", true, "the commanded joint angle in degrees"},
		{"joint_deg", true, "the measured joint angle in degrees"},
		{"motor_deg", false, "the measured motor-side angle in degrees"},
		{"current_a", false, "the supply current in A"},
		{"supply_v", false, "the supply voltage in V"},
		{"torque_nm", false, "the load's torque in N·m"},
		{"temp_c", false, "the temperature in °C"},
	}
}

// parseHeader says for each cell of the header which column it is, -1 for one to ignore.
func (p *csvParser) parseHeader(cells [][]byte) ([]int, error) {
	cols := csvColumns()
	if len(cells) == 1 {
		for _, sep := range []string{";", "\t"} {
			if strings.Contains(string(cells[0]), sep) {
				return nil, p.fault(1, "", fmt.Sprintf("columns are separated by %q", sep), "separate them with commas, and write numbers with a point")
			}
		}
	}
	at := make([]int, len(cells))
	seen := map[string]int{}
	for i, c := range cells {
		name := string(c)
		if k, twice := seen[name]; twice && name != "" {
			return nil, p.fault(1, name, fmt.Sprintf("stands in the header twice, as column %d and %d", k+1, i+1), "remove one of them")
		}
		seen[name] = i
		at[i] = -1
		for k, col := range cols {
			if col.name == name {
				at[i] = k
			}
		}
		if at[i] >= 0 {
			continue
		}
		if col, ok := nearColumn(name); ok {
			return nil, p.fault(1, name, "is no column of this format", fmt.Sprintf("%s is known: %s; convert and rename it, or leave it out", col.name, col.means))
		}
		if p.opts.Ignored != nil {
			p.opts.Ignored(name)
		}
	}
	for _, col := range cols {
		if _, ok := seen[col.name]; !ok && col.needed {
			hint := fmt.Sprintf("add %s: %s; found %s", col.name, col.means, strings.Join(headerNames(cells), ", "))
			if _, ok := parseDecimal(cells[0]); ok {
				hint = "the first line must name the columns: time_s,joint,move,command_deg,joint_deg,..."
			}
			return nil, p.fault(1, col.name, "is missing", hint)
		}
	}
	return at, nil
}

func headerNames(cells [][]byte) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = string(c)
	}
	return out
}

// nearColumn finds the column a name was most likely meant to be: the same quantity without its
// unit or in another one. Anything else is somebody's own column.
func nearColumn(name string) (csvColumn, bool) {
	low := strings.ToLower(name)
	quantity, unit, _ := strings.Cut(low, "_")
	for _, col := range csvColumns() {
		known, _, hasUnit := strings.Cut(col.name, "_")
		switch {
		case low == col.name:
			return col, true
		case hasUnit && quantity == known && (unit == "" && known != "joint" || slices.Contains(otherUnits(), unit)):
			return col, true
		}
	}
	return csvColumn{}, false
}

// otherUnits are endings that say a column is a known quantity in a unit of another kind.
func otherUnits() []string {
	return strings.Fields("s sec ms us ns min h deg degree degrees mdeg cdeg rad mrad turn turns rev counts ticks steps " +
		"a ma ua amp amps v mv volt volts nm mnm ncm kgcm ozin n c k f celsius degc")
}
