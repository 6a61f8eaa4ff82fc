package rivers

import (
	"bytes"
	"fmt"
	"html"
	"html/template"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"example.org/eclose/forecast/verify"
)

// line is one curve of a chart with, perhaps, intervals.
type line struct {
	name   string
	x, y   []float64
	ranges []verify.Interval // as long as y, or nil
	style  int
}

// Curves differ by dash and mark, not by colour alone.
var (
	ink    = color.RGBA{0x1d, 0x2b, 0x2a, 0xff}
	inks   = []color.Color{color.RGBA{0x1f, 0x5a, 0x4a, 0xff}, color.RGBA{0x8a, 0x5a, 0x1c, 0xff}, color.RGBA{0x4a, 0x4f, 0x7a, 0xff}}
	dashes = [][]vg.Length{nil, {vg.Points(5), vg.Points(3)}, {vg.Points(1.5), vg.Points(2.5)}}
	marks  = []draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}}
)

// newPlot is an empty chart with its axes named.
func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = x, y
	p.BackgroundColor = nil
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Color, a.Label.TextStyle.Color, a.Tick.Label.Color, a.Tick.Color = ink, ink, ink, ink
		a.Label.TextStyle.Font.Size, a.Tick.Label.Font.Size = vg.Points(11), vg.Points(10)
	}
	// Words grow to the right of their marks, so that a reader's font that is
	// wider than the one measured with runs into no mark.
	p.Legend.Top, p.Legend.Left, p.Legend.XOffs, p.Legend.Padding = true, true, vg.Points(8), vg.Points(2)
	p.Legend.TextStyle.Font.Size = vg.Points(10)
	p.Legend.TextStyle.Color = ink
	p.X.Tick.Marker, p.Y.Tick.Marker = short{}, short{}
	grid := plotter.NewGrid()
	grid.Horizontal.Color, grid.Vertical.Color = color.Gray{0xdd}, color.Gray{0xee}
	p.Add(grid)
	return p
}

// add draws a curve; points that are not known are left out.
func add(p *plot.Plot, l line) error {
	var xy plotter.XYs
	var bars plotter.YErrors
	for i := range l.x {
		if math.IsNaN(l.y[i]) {
			continue
		}
		xy = append(xy, plotter.XY{X: l.x[i], Y: l.y[i]})
		var bar struct{ Low, High float64 }
		if l.ranges != nil && !math.IsNaN(l.ranges[i].Low) {
			bar.Low, bar.High = l.y[i]-l.ranges[i].Low, l.ranges[i].High-l.y[i]
		}
		bars = append(bars, bar)
	}
	if len(xy) == 0 {
		return nil
	}
	curve, points, err := plotter.NewLinePoints(xy)
	if err != nil {
		return fmt.Errorf("drawing %s: %w", l.name, err)
	}
	c := inks[l.style%len(inks)]
	curve.Color, curve.Dashes, curve.Width = c, dashes[l.style%len(dashes)], vg.Points(1.4)
	points.Color, points.Shape, points.Radius = c, marks[l.style%len(marks)], vg.Points(3)
	p.Add(curve, points)
	p.Legend.Add(l.name, curve, points)
	if l.ranges != nil {
		b, err := plotter.NewYErrorBars(struct {
			plotter.XYs
			plotter.YErrors
		}{xy, bars})
		if err != nil {
			return fmt.Errorf("drawing the intervals of %s: %w", l.name, err)
		}
		b.Color, b.Width = c, vg.Points(1)
		p.Add(b)
	}
	return nil
}

// ticks labels the leads themselves on the axis across.
func ticks(p *plot.Plot, leads []int) {
	var at plot.ConstantTicks
	for _, l := range leads {
		at = append(at, plot.Tick{Value: float64(l), Label: fmt.Sprint(l)})
	}
	p.X.Tick.Marker = at
}

// room makes the axis upwards begin at 0 or below and leaves room for the legend
// above the curves.
func room(p *plot.Plot) {
	p.Y.Min = min(p.Y.Min, 0)
	p.Y.Max = max(p.Y.Max, 1)
	p.Y.Max += (p.Y.Max - p.Y.Min) * 0.3
}

// short writes the numbers of an axis without needless digits.
type short struct{ plot.DefaultTicks }

func (t short) Ticks(low, high float64) []plot.Tick {
	all := t.DefaultTicks.Ticks(low, high)
	for i := range all {
		if all[i].Label != "" {
			all[i].Label = strings.Replace(strconv.FormatFloat(all[i].Value, 'g', 6, 64), "-", "−", 1)
		}
	}
	return all
}

// across is a thin line at a height, where no difference lies.
func across(p *plot.Plot, y float64) {
	f := plotter.NewFunction(func(float64) float64 { return y })
	f.Color, f.Width, f.Samples = ink, vg.Points(0.8), 2
	p.Add(f)
}

// edge is the room at the right and above for the half of a label that stands
// out over the end of its axis.
const edge = 14

// svg renders a chart with a title and a description for those who cannot see
// it.
func svg(p *plot.Plot, width, height vg.Length, title, desc string) (template.HTML, error) {
	c := vgsvg.New(width, height)
	p.Draw(draw.Crop(draw.New(c), 0, -edge, 0, -edge))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", fmt.Errorf("drawing %q: %w", title, err)
	}
	text := strings.ReplaceAll(b.String(), "font-family:Liberation Serif", "font-family:'Times New Roman','Liberation Serif',Georgia,serif")
	at := strings.Index(text, "<svg")
	if at < 0 {
		return "", fmt.Errorf("drawing %q: the picture has no beginning", title)
	}
	text = text[at:]
	end := strings.Index(text, ">")
	head := strings.Replace(text[:end], "<svg", `<svg role="img"`, 1)
	return template.HTML(head + "><title>" + html.EscapeString(title) + "</title><desc>" + html.EscapeString(desc) + "</desc>" + text[end+1:]), nil //nolint:gosec // drawn here from numbers; words are escaped
}
