package health

// Curve is one picture behind the figures of a joint, free of any drawing.
type Curve struct {
	ID     string // stable within a joint: "loop-transmission", "error-total", "current", "hold", "step", "friction"
	Title  string
	XLabel string // with unit
	YLabel string
	Alt    string // what a reader who cannot see it should know
	Lines  []Line
}

// Role says what a line of a Curve means, so that every picture draws it alike.
type Role string

// The roles.
const (
	RoleUp      Role = "up"      // moving to greater angles
	RoleDown    Role = "down"    // moving to smaller angles
	RoleModel   Role = "model"   // fitted
	RoleLimit   Role = "limit"   // what the builder accepts
	RoleCommand Role = "command" // asked for
	RoleValue   Role = "value"   // measured, no direction
)

// Line is one set of points. X and Y have the same length.
type Line struct {
	Name   string
	Role   Role
	Points bool // draw marks instead of a line
	X, Y   []float64
}
