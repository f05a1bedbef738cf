package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/draw"

	"limbgauge/analyze/health"
)

// What a page needs to read values off a drawing.

// measured notes which pixels stand for which values, for whoever reads values off the drawing: left,
// right, top and bottom of the data in both, and what the axes are.
func (c *canvas) measured(p *plot.Plot, data draw.Canvas, x, y string) {
	c.reach = fmt.Sprintf(` data-px="%s %s %s %s" data-values="%g %g %g %g" data-x="%s" data-y="%s"`, short(float64(data.Min.X)), short(float64(data.Max.X)),
		short(c.h-float64(data.Max.Y)), short(c.h-float64(data.Min.Y)), p.X.Min, p.X.Max, p.Y.Max, p.Y.Min, escaped(x), escaped(y))
}

// stops notes where the runs of a history stand, each as "across down what it says", and apart by bars; the place down is
// a dash where there is none.
func (c *canvas) stops(h History, p *plot.Plot, data draw.Canvas) {
	fx, fy := p.Transforms(&data)
	said := make([]string, len(h.Points))
	for i, pt := range h.Points {
		down, what := "-", "not seen"
		if m := pt.Measure; m.Status != health.NotObservable && drawable(m.Value) {
			down, what = short(c.h-float64(min(max(fy(m.Value), data.Min.Y), data.Max.Y))), Amount(m)
			if pt.Out {
				what += ", which does not count"
			}
		}
		said[i] = strings.ReplaceAll(fmt.Sprintf("%s %s run %s: %s", short(float64(fx(float64(i)))), down, clean(pt.Run), what), "|", "/")
	}
	c.reach = fmt.Sprintf(` data-px="%s %s %s %s" data-stops="%s"`, short(float64(data.Min.X)), short(float64(data.Max.X)),
		short(c.h-float64(data.Max.Y)), short(c.h-float64(data.Min.Y)), escaped(strings.Join(said, "|")))
}

// escaped writes text for an attribute.
func escaped(s string) string {
	var b bytes.Buffer
	_ = xml.EscapeText(&b, []byte(s)) // it cannot fail on a buffer
	return b.String()
}

// begin opens what belongs to one line of a curve, for whoever reads its values off; end closes it.
func (c *canvas) begin(name string) {
	c.flush()
	fmt.Fprintf(&c.out, "<g data-line=\"%s\">\n", escaped(name))
}

func (c *canvas) end() {
	c.flush()
	c.out.WriteString("</g>\n")
}
