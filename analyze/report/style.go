package report

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"

	"limbgauge/analyze/health"
)

// The inks of the plots. plot.css gives each class its tone in light and dark; the tones here are
// the light ones.
var (
	inkText    = ink{"text", 0x1e2724}
	inkQuiet   = ink{"quiet", 0x55625d}
	inkGrid    = ink{"grid", 0xd5dcd7}
	inkAxis    = ink{"axis", 0x8a9791}
	inkUp      = ink{"up", 0x14588f}
	inkDown    = ink{"down", 0xa84a00}
	inkModel   = ink{"model", 0x1e2724}
	inkLimit   = ink{"limit", 0x9b1c4c}
	inkCommand = ink{"command", 0x6b7772}
	inkValue   = ink{"value", 0x0f6b5c}
)

// Sizes of text and marks, px.
const (
	tickSize  = 13
	labelSize = 13.5
	markSize  = 3.2
	denseSize = 2.3 // of marks where there are many
)

// role is how a line of a curve is drawn: ink, dash and shape together, so that it can be told by
// any one of them.
type role struct {
	ink   ink
	width vg.Length
	dash  []vg.Length
	shape shape
}

var roles = map[health.Role]role{
	health.RoleUp:      {inkUp, 1.5, nil, triangleUp},
	health.RoleDown:    {inkDown, 1.5, []vg.Length{7, 2.5}, triangleDown},
	health.RoleModel:   {inkModel, 2, []vg.Length{9, 3.5}, cross},
	health.RoleLimit:   {inkLimit, 1.6, []vg.Length{8, 3, 2, 3}, cross},
	health.RoleCommand: {inkCommand, 1.2, []vg.Length{2.5, 2.5}, square},
	health.RoleValue:   {inkValue, 1.5, nil, diamond},
}

// otherDashes tell lines of the same role apart.
var otherDashes = [][]vg.Length{nil, {5, 2}, {2, 2}, {10, 3, 2, 3}, {12, 2}}

// roleOf returns how the nth differently named line of a role is drawn.
func roleOf(r health.Role, nth int) role {
	out, ok := roles[r]
	if !ok {
		out = roles[health.RoleValue]
	}
	if nth > 0 {
		out.dash = otherDashes[nth%len(otherDashes)]
	}
	return out
}

// shape is a mark as corner points in units of the mark's size, y upwards.
type shape []vg.Point

var (
	triangleUp   = shape{{X: 0, Y: 1}, {X: 0.9, Y: -0.7}, {X: -0.9, Y: -0.7}}
	triangleDown = shape{{X: 0, Y: -1}, {X: -0.9, Y: 0.7}, {X: 0.9, Y: 0.7}}
	diamond      = shape{{X: 0, Y: 1}, {X: 1, Y: 0}, {X: 0, Y: -1}, {X: -1, Y: 0}}
	square       = shape{{X: -0.8, Y: -0.8}, {X: -0.8, Y: 0.8}, {X: 0.8, Y: 0.8}, {X: 0.8, Y: -0.8}}
	cross        = shape{{X: -1, Y: 0.35}, {X: -0.35, Y: 0.35}, {X: -0.35, Y: 1}, {X: 0.35, Y: 1}, {X: 0.35, Y: 0.35},
		{X: 1, Y: 0.35}, {X: 1, Y: -0.35}, {X: 0.35, Y: -0.35}, {X: 0.35, Y: -1}, {X: -0.35, Y: -1}, {X: -0.35, Y: -0.35}, {X: -1, Y: -0.35}}
)

// at appends the mark to a path.
func (s shape) at(p *vg.Path, pt vg.Point, size vg.Length) {
	for i, c := range s {
		q := vg.Point{X: pt.X + c.X*size, Y: pt.Y + c.Y*size}
		if i == 0 {
			p.Move(q)
		} else {
			p.Line(q)
		}
	}
	p.Close()
}

// letters is the style of all text in a plot.
func letters(size vg.Length, k ink, x text.XAlignment, y text.YAlignment) text.Style {
	f := font.From(plot.DefaultFont, size)
	f.Variant = "Sans"
	return text.Style{Color: k, Font: f, XAlign: x, YAlign: y, Handler: handler()}
}

func handler() text.Handler { return anchored{text.Plain{Fonts: font.DefaultCache}} }

// newPlot returns an empty plot in our style.
func newPlot(xlabel string, size Size) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.TextHandler = handler()
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Color, a.Width, a.Padding = inkAxis, 1, 0
		a.Tick.Color, a.Tick.Width, a.Tick.Length = inkAxis, 1, 4
	}
	p.X.Label.TextStyle = letters(labelSize, inkQuiet, text.XCenter, text.YBottom)
	p.X.Label.Text = fit(p.X.Label.TextStyle, xlabel, vg.Length(size.Width*0.8))
	p.X.Label.Padding = 2
	p.X.Tick.Label = letters(tickSize, inkText, text.XCenter, text.YTop)
	p.Y.Tick.Label = letters(tickSize, inkText, text.XRight, text.YCenter)
	p.Y.Label.TextStyle = letters(labelSize, inkQuiet, text.XCenter, text.YBottom)
	return p
}
