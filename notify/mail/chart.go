package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	imagedraw "image/draw"
	"image/png"
	"strings"
	"sync"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"example.org/eclose/forecast"
	"example.org/eclose/model/civil"
	"example.org/eclose/notify/alert"
)

// chart is a small picture of the chances, day by day; Alt says in words what
// it shows.
type chart struct {
	CID, Alt      string
	Width, Height int
	PNG           []byte
}

const (
	chartWidth, chartHeight = 480, 200 // as shown; a phone is 360 wide
	chartDots               = 2        // to each point: screens are fine
	chartMargin             = 14       // days shown before and after the window
	chartsKept              = 200
)

// charts keeps pictures: one outlook goes to many people. The zero value works.
type charts struct {
	mu   sync.Mutex
	kept map[string]*chart
}

// of returns the picture of a stage, nil where there is nothing to draw or it
// cannot be drawn: a mail goes out without it rather than not at all.
func (c *charts) of(o *alert.Outlook, s *alert.Stage) *chart {
	days := shown(s)
	if len(days) < 2 {
		return nil
	}
	key := chartKey(o, s, days)
	c.mu.Lock()
	defer c.mu.Unlock()
	if ch, ok := c.kept[key]; ok {
		return ch
	}
	img, err := render(days)
	if err != nil {
		return nil
	}
	ch := &chart{CID: "chart-" + key[:16], Alt: altText(days), Width: chartWidth, Height: chartHeight, PNG: img}
	if c.kept == nil || len(c.kept) >= chartsKept {
		c.kept = map[string]*chart{}
	}
	c.kept[key] = ch
	return ch
}

func chartKey(o *alert.Outlook, s *alert.Stage, days []forecast.Day) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s\x00%s\x00%s\x00", o.River, s.Group, s.Stage)
	_ = json.NewEncoder(h).Encode(days) // plain data into a hash: nothing can fail
	return hex.EncodeToString(h.Sum(nil))
}

// shown are the days from two weeks before the window to two weeks after.
func shown(s *alert.Stage) []forecast.Day {
	from, err1 := civil.Parse(s.From)
	to, err2 := civil.Parse(s.To)
	if err1 != nil || err2 != nil {
		return nil
	}
	var out []forecast.Day
	for day := from - chartMargin; day <= to+chartMargin; day++ {
		if d, ok := s.Days.On(day); ok {
			out = append(out, d)
		}
	}
	return out
}

func altText(days []forecast.Day) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Daily chance, %s. ", span(days[0].Date.String(), days[len(days)-1].Date.String()))
	step := max(1, (len(days)+5)/6)
	for i := 0; i < len(days); i += step {
		fmt.Fprintf(&b, "%s: %s (calendar %s). ", span(days[i].Date.String(), days[i].Date.String()), percent(days[i].P), percent(days[i].PCalendar))
	}
	top, cal := days[0], days[0]
	for _, d := range days {
		if d.P > top.P {
			top = d
		}
		if d.PCalendar > cal.PCalendar {
			cal = d
		}
	}
	fmt.Fprintf(&b, "Highest: %s on %s; calendar only: %s on %s.",
		percent(top.P), span(top.Date.String(), top.Date.String()), percent(cal.PCalendar), span(cal.Date.String(), cal.Date.String()))
	return b.String()
}

const (
	textPoints = 13 // read on a phone, where the picture is shown at three quarters
	mostLabels = 6  // dates that fit side by side
)

var greys = func() (out color.Palette) {
	for i := range 16 {
		out = append(out, color.Gray{Y: uint8(17 * i)})
	}
	return out
}()

// render draws the chance as a solid line and the calendar's as a dashed one:
// both are told apart without colour.
func render(days []forecast.Day) ([]byte, error) {
	p := plot.New()
	p.Title.Text = "Chance in two hours, by day (dashed: calendar)"
	p.Title.TextStyle.Font.Size = vg.Points(textPoints)
	p.Title.Padding = vg.Points(4)
	p.X.Tick.Label.Font.Size, p.Y.Tick.Label.Font.Size = vg.Points(textPoints), vg.Points(textPoints)
	p.Y.Min, p.Y.Max = 0, 1
	p.Y.Tick.Marker = plot.ConstantTicks{{Value: 0, Label: "0 %"}, {Value: 0.5, Label: "50 %"}, {Value: 1, Label: "100 %"}}
	var now, cal plotter.XYs
	var ticks plot.ConstantTicks
	weeks := 0
	for i, d := range days {
		x := float64(i)
		now = append(now, plotter.XY{X: x, Y: d.P})
		cal = append(cal, plotter.XY{X: x, Y: d.PCalendar})
		if t := d.Date.Time(); t.Weekday() == time.Monday || len(days) < 8 {
			label := ""
			if weeks%(1+len(days)/(7*mostLabels)) == 0 && i < len(days)-3 { // nearer to the edge it would be cut
				label = t.Format("2 Jan")
			}
			weeks++
			ticks = append(ticks, plot.Tick{Value: x, Label: label})
		}
	}
	p.X.Tick.Marker = ticks
	ink := color.Gray{Y: 0x1f}
	solid, err := plotter.NewLine(now)
	if err != nil {
		return nil, fmt.Errorf("drawing the chances: %w", err)
	}
	solid.Width, solid.Color = vg.Points(2), ink
	dashed, err := plotter.NewLine(cal)
	if err != nil {
		return nil, fmt.Errorf("drawing the chances: %w", err)
	}
	dashed.Width, dashed.Color, dashed.Dashes = vg.Points(1), ink, []vg.Length{vg.Points(4), vg.Points(3)}
	p.Add(plotter.NewGrid(), dashed, solid)
	// 72 dots to the inch would be one to a point.
	c := vgimg.NewWith(vgimg.UseWH(vg.Points(chartWidth), vg.Points(chartHeight)), vgimg.UseDPI(72*chartDots))
	p.Draw(draw.New(c))
	// Sixteen greys are enough for ink on paper, and a quarter of the bytes.
	img := image.NewPaletted(c.Image().Bounds(), greys)
	imagedraw.Draw(img, img.Bounds(), c.Image(), image.Point{}, imagedraw.Src)
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, img); err != nil {
		return nil, fmt.Errorf("drawing the chances: %w", err)
	}
	return b.Bytes(), nil
}
