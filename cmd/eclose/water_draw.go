package main

import (
	"bytes"
	"fmt"
	"html/template"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/eclose/forecast/chart"
)

func drawable(path string) bool {
	ext := strings.ToLower(filepath.Ext(path))
	return ext == ".svg" || ext == ".html"
}

// drawnDays is how much of the record a picture shows, up to its newest day.
const drawnDays = 365

// picture is the newest year of the record beside the model.
func (f *waterFit) picture() chart.Fit {
	n := len(f.in.Air)
	from := max(0, n-drawnDays)
	day0 := f.in.Day0 + from
	c := chart.Fit{Title: f.name + ": water temperature", Day0: time.Unix(int64(day0)*86400, 0).UTC(), Fahrenheit: f.fahrenheit,
		Observed: f.in.Water[from:], Mid: f.report.Modelled[from:], Normal: f.report.Climatology[from:]}
	switch {
	case f.fallback != "":
		c.Note = f.model.Grade.Words()
	case f.cut <= day0:
		c.Note = fmt.Sprintf("%s to %s: test period only; fitted up to %s", dayDate(day0), dayDate(f.in.Day0+n-1), dayDate(f.cut-1))
	default:
		c.Note = fmt.Sprintf("%s to %s: fitted up to %s, checked after it", dayDate(day0), dayDate(f.in.Day0+n-1), dayDate(f.cut-1))
	}
	const tenth = 1.2816 // of a normal distribution, in standard deviations
	for i, t := range c.Mid {
		s := tenth * f.report.SD[from+i]
		c.Low, c.High = append(c.Low, math.Max(0, t-s)), append(c.High, t+s)
	}
	return c
}

var waterPage = template.Must(template.New("water").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}}</title>
<style>body{margin:2rem auto;max-width:60rem;padding:0 1rem;background:#f8f5ec;color:#1b2a2c;font-family:Georgia,'Times New Roman',serif}pre{overflow-x:auto;font-size:.85rem;line-height:1.45}svg{width:100%;height:auto}</style>
<main><h1>Water temperature model</h1>{{.Picture}}<pre>{{.Report}}</pre></main></html>
`))

// draw writes the picture, or a page with the picture and the report.
func (f *waterFit) draw(path string) error {
	c := f.picture()
	var b bytes.Buffer
	if strings.EqualFold(filepath.Ext(path), ".svg") {
		b.WriteString(c.SVG())
	} else {
		var report bytes.Buffer
		if err := f.print(&report); err != nil {
			return fmt.Errorf("drawing %s: %w", path, err)
		}
		if err := waterPage.Execute(&b, map[string]any{"Title": c.Title, "Picture": template.HTML(c.SVG()), "Report": report.String()}); err != nil { //nolint:gosec // the chart escapes its words
			return fmt.Errorf("drawing %s: %w", path, err)
		}
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil { //nolint:gosec // a picture for people
		return fmt.Errorf("writing the picture: %w", err)
	}
	return nil
}
