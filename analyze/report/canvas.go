package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// ink is a colour by its meaning. It is drawn as a class, so that a page chooses the tone for light
// and dark, with a plain tone beside it for readers without the page.
type ink struct {
	class string
	tone  uint32 // 0xRRGGBB, on a light ground
}

// RGBA implements color.Color.
func (k ink) RGBA() (r, g, b, a uint32) {
	return k.tone >> 16 & 0xff * 0x101, k.tone >> 8 & 0xff * 0x101, k.tone & 0xff * 0x101, 0xffff
}

func (k ink) hex() string { return fmt.Sprintf("#%06x", k.tone) }

// canvas is a vg.Canvas that writes SVG for use inside a page. The one that comes with the plotting
// library fixes size, font and colours and writes one element for every stroke; here strokes of one
// pen share an element, points are relative and rounded to a tenth of a pixel, and text says where
// it is anchored, so that it stays in place when the reader's font is wider than ours.
type canvas struct {
	w, h  float64
	out   bytes.Buffer
	pens  []pen
	path  []byte // data of the path not yet written
	style string // attributes of that path
	at    [2]int // its last point, tenths of a pixel
	reach string // attributes that tie pixels to values
}

type pen struct {
	ink    ink
	width  vg.Length
	dash   []vg.Length
	origin vg.Point
}

var _ vg.CanvasSizer = (*canvas)(nil)

func newCanvas(w, h float64) *canvas { return &canvas{w: w, h: h, pens: []pen{{width: 1}}} }

func (c *canvas) pen() *pen { return &c.pens[len(c.pens)-1] }

// Size implements vg.CanvasSizer. One vg point is one pixel.
func (c *canvas) Size() (w, h vg.Length) { return vg.Length(c.w), vg.Length(c.h) }

// SetLineWidth implements vg.Canvas.
func (c *canvas) SetLineWidth(w vg.Length) { c.pen().width = w }

// SetLineDash implements vg.Canvas. No pen of ours starts inside its dash.
func (c *canvas) SetLineDash(dash []vg.Length, _ vg.Length) { c.pen().dash = dash }

// SetColor implements vg.Canvas. Only inks are drawn with.
func (c *canvas) SetColor(clr color.Color) {
	k, ok := clr.(ink)
	if !ok {
		k = inkText
	}
	c.pen().ink = k
}

// Translate implements vg.Canvas.
func (c *canvas) Translate(p vg.Point) { c.pen().origin = c.pen().origin.Add(p) }

// Rotate panics: nothing in a report is drawn turned.
func (c *canvas) Rotate(float64) { panic("report: canvas does not rotate") }

// Scale panics: nothing in a report is drawn scaled.
func (c *canvas) Scale(_, _ float64) { panic("report: canvas does not scale") }

// DrawImage panics: a report holds no pictures of pixels.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) { panic("report: canvas draws no images") }

// Push implements vg.Canvas.
func (c *canvas) Push() { c.pens = append(c.pens, *c.pen()) }

// Pop implements vg.Canvas.
func (c *canvas) Pop() { c.pens = c.pens[:len(c.pens)-1] }

// Stroke implements vg.Canvas.
func (c *canvas) Stroke(p vg.Path) {
	q := c.pen()
	if q.width <= 0 {
		return
	}
	style := fmt.Sprintf(`class="s-%s" fill="none" stroke="%s" stroke-width="%s"`, q.ink.class, q.ink.hex(), short(float64(q.width)))
	if len(q.dash) > 0 {
		style += ` stroke-dasharray="`
		for i, d := range q.dash {
			if i > 0 {
				style += " "
			}
			style += short(float64(d))
		}
		style += `"`
	}
	c.add(p, style)
}

// Fill implements vg.Canvas.
func (c *canvas) Fill(p vg.Path) {
	k := c.pen().ink
	c.add(p, fmt.Sprintf(`class="f-%s" fill="%s"`, k.class, k.hex()))
}

func (c *canvas) add(p vg.Path, style string) {
	if style != c.style {
		c.flush()
		c.style = style
	}
	start := c.at
	for _, s := range p {
		switch s.Type {
		case vg.MoveComp:
			c.step('m', s.Pos)
			start = c.at
		case vg.LineComp:
			c.step('l', s.Pos)
		case vg.CloseComp:
			c.path = append(c.path, 'z')
			c.at = start
		default:
			panic("report: canvas draws straight lines only")
		}
	}
}

// step appends a point relative to the last one. Positions are rounded before they are subtracted,
// so roundings do not add up.
func (c *canvas) step(op byte, p vg.Point) {
	p = p.Add(c.pen().origin)
	to := [2]int{tenths(float64(p.X)), tenths(c.h - float64(p.Y))}
	if op == 'l' && to == c.at {
		return
	}
	c.path = append(c.path, op)
	c.path = appendTenths(c.path, to[0]-c.at[0])
	if to[1] >= c.at[1] {
		c.path = append(c.path, ' ')
	}
	c.path = appendTenths(c.path, to[1]-c.at[1])
	c.at = to
}

func tenths(v float64) int { return int(math.Round(v * 10)) }

func appendTenths(b []byte, t int) []byte {
	if t < 0 {
		b, t = append(b, '-'), -t
	}
	b = strconv.AppendInt(b, int64(t/10), 10)
	if t%10 != 0 {
		b = append(b, '.', byte('0'+t%10))
	}
	return b
}

func (c *canvas) flush() {
	if len(c.path) > 0 {
		fmt.Fprintf(&c.out, "<path %s d=\"%s\"/>\n", c.style, c.path)
	}
	c.path, c.style, c.at = c.path[:0], "", [2]int{}
}

// FillString implements vg.Canvas.
func (c *canvas) FillString(f font.Face, pt vg.Point, s string) { c.write(s, pt, f.Font.Size, "") }

func (c *canvas) write(s string, pt vg.Point, size vg.Length, anchor string) {
	if s == "" || size <= 0 {
		return
	}
	c.flush()
	pt = pt.Add(c.pen().origin)
	k := c.pen().ink
	fmt.Fprintf(&c.out, `<text class="f-%s" fill="%s" font-size="%s" x="%s" y="%s"%s>`, k.class, k.hex(),
		short(float64(size)), short(float64(pt.X)), short(c.h-float64(pt.Y)), anchor)
	// EscapeText cannot fail on a buffer.
	_ = xml.EscapeText(&c.out, []byte(s))
	c.out.WriteString("</text>\n")
}

// close returns the finished drawing. Title and alt are told to those who cannot see it.
func (c *canvas) close(title, alt string) []byte {
	c.flush()
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="plot" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s"%s role="img" aria-label="`, short(c.w), short(c.h), c.reach)
	_ = xml.EscapeText(&b, []byte(title))
	b.WriteString("\" font-family=\"system-ui, sans-serif\" stroke-linejoin=\"round\">\n<title>")
	_ = xml.EscapeText(&b, []byte(title))
	b.WriteString("</title>\n")
	if alt != "" {
		b.WriteString("<desc>")
		_ = xml.EscapeText(&b, []byte(alt))
		b.WriteString("</desc>\n")
	}
	b.Write(c.out.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// short writes a length with at most one decimal.
func short(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// anchored draws text by its alignment instead of by a left edge computed from our font.
type anchored struct{ text.Plain }

// wider allows for a reader's font that is wider than the one we measure with.
const wider = 1.15

// Box implements text.Handler.
func (a anchored) Box(s string, f font.Font) (w, h, d vg.Length) {
	w, h, d = a.Plain.Box(s, f)
	return w * wider, h, d
}

// Draw implements text.Handler.
func (a anchored) Draw(c vg.Canvas, s string, sty text.Style, pt vg.Point) {
	to := ours(c)
	if to == nil || s == "" {
		return
	}
	anchor := ""
	switch sty.XAlign {
	case text.XCenter:
		anchor = ` text-anchor="middle"`
	case text.XRight:
		anchor = ` text-anchor="end"`
	}
	to.SetColor(sty.Color)
	ext := a.Extents(sty.Font)
	pt.Y += sty.Height(s)*vg.Length(sty.YAlign) - ext.Ascent + sty.Font.Size
	to.write(s, pt, sty.Font.Size, anchor)
}

// ours finds the canvas within the croppings the plotting library wraps around it.
func ours(c vg.Canvas) *canvas {
	for {
		switch d := c.(type) {
		case *canvas:
			return d
		case draw.Canvas:
			c = d.Canvas
		case *draw.Canvas:
			c = d.Canvas
		default:
			return nil
		}
	}
}
