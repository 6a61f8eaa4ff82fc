package chart

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"
)

func TestFitDrawsGapsAndNamesItsLines(t *testing.T) {
	n := 200
	f := Fit{Title: "Wend & co", Note: "2025", Day0: time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)}
	for _, c := range []struct {
		to  *[]float64
		off float64
	}{{&f.Low, -1}, {&f.Mid, 0}, {&f.High, 1}, {&f.Observed, 0.3}, {&f.Normal, 0.5}} {
		*c.to = make([]float64, n)
		for i := range n {
			(*c.to)[i] = max(0, 9+8*math.Sin(float64(i)/60)+c.off)
		}
	}
	for i := 50; i < 80; i++ {
		f.Observed[i] = math.NaN()
	}
	svg := f.SVG()
	d := xml.NewDecoder(strings.NewReader(svg))
	moves := 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		e, ok := tok.(xml.StartElement)
		if !ok || e.Name.Local != "path" {
			continue
		}
		class, path := "", ""
		for _, a := range e.Attr {
			switch a.Name.Local {
			case "class":
				class = a.Value
			case "d":
				path = a.Value
			}
		}
		if class == "measured" && strings.Count(path, "M") > 1 {
			moves = strings.Count(path, "M")
		}
	}
	if moves != 2 {
		t.Errorf("the measured line is drawn in %d pieces, the gap makes 2", moves)
	}
	for _, want := range []string{"Wend &amp; co", "measured, daily mean", "80% range", "mean of the fitted years", "Feb", "15 °C"} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %q in the picture", want)
		}
	}
	if strings.Contains(svg, "NaN") {
		t.Error("a value that is unknown was drawn")
	}
}
