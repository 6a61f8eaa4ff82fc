package rivers

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strconv"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/verify"
)

//go:embed page.html
var pageText string

var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"plain":   plain,
	"join":    join,
	"percent": func(v float64) string { return number(100*v, 0, " %") },
	"score":   func(v float64) string { return number(v, 4, "") },
	"days":    func(v float64) string { return number(v, 1, "") },
	"interval": func(i verify.Interval) string {
		if math.IsNaN(i.Value) {
			return "–"
		}
		return percent(i)
	},
	"gain": func(i verify.Interval) string {
		if math.IsNaN(i.Value) {
			return "–"
		}
		if math.IsNaN(i.Low) {
			return fmt.Sprintf("%.1f", i.Value)
		}
		return fmt.Sprintf("%.1f, %.1f to %.1f", i.Value, i.Low, i.High)
	},
	"lead": func(d int) string {
		if d == AllLeads {
			return "all"
		}
		return strconv.Itoa(d)
	},
}).Parse(pageText))

func number(v float64, digits int, unit string) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strconv.FormatFloat(v, 'f', digits, 64) + unit
}

// figure is a chart with its caption.
type figure struct {
	SVG     template.HTML
	Caption string
}

// WritePage writes the report as one page of HTML that needs nothing beside it.
func (r *Report) WritePage(w io.Writer) error {
	issues, asOf, judged := 0, 0, 0
	skipped := map[string][]string{}
	for _, s := range r.Shards {
		issues += s.Issues
		asOf += s.AsOf
		if s.Skipped != "" {
			skipped[s.Skipped] = append(skipped[s.Skipped], fmt.Sprintf("%s %d", s.River, s.Season))
		} else {
			judged++
		}
	}
	err := page.Execute(w, map[string]any{
		"R": r, "Figures": r.charts(), "Issues": issues, "AsOf": asOf, "Judged": judged, "Skipped": skipped,
		"All": r.Of("all"), "Leads": r.Of("lead"), "Rivers": r.Of("river"), "RiverLeads": r.Of("river, lead"),
		"Groups": r.Of("group"), "GroupLeads": r.Of("group, lead"), "Level": level, "Few": verify.FewSeasons,
		"Parts": r.parts(), "Caution": forecast.StandingCaution,
	})
	if err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	return nil
}

// parts is what the sightings of one lead say beyond the score.
type parts struct {
	Lead               int
	N, Seen            int
	Murphy, Calendar   verify.Decomposition
	Log, LogCalendar   float64 // nats
	Area, AreaCalendar float64 // under the ROC curve
}

func (r *Report) parts() []parts {
	var out []parts
	for _, lead := range r.Leads {
		p, c, y := r.cases(lead)
		if len(p) == 0 {
			continue
		}
		x := parts{Lead: lead, N: len(p), Murphy: verify.Decompose(verify.Binned(p, y, verify.EqualBins(binCount))),
			Calendar: verify.Decompose(verify.Binned(c, y, verify.EqualBins(binCount))),
			Log:      verify.LogBinary(held(p), y), LogCalendar: verify.LogBinary(held(c), y), Area: verify.ROCArea(p, y), AreaCalendar: verify.ROCArea(c, y)}
		for _, seen := range y {
			if seen {
				x.Seen++
			}
		}
		out = append(out, x)
	}
	return out
}

// held keeps chances away from 0 and 1, where one surprise would decide the log
// score: strays alone are 2 %, our own default.
func held(p []float64) []float64 {
	out := make([]float64, len(p))
	for i, v := range p {
		out[i] = min(max(v, 0.01), 0.99)
	}
	return out
}

func (r *Report) cases(lead int) (p, calendar []float64, y []bool) {
	for c := range r.AllCases() { //nolint:errcheck // it lists what is held and cannot fail
		if c.Lead == lead {
			p, calendar, y = append(p, c.P), append(calendar, c.Calendar), append(y, c.Seen)
		}
	}
	return p, calendar, y
}

// charts are those that have anything to show.
func (r *Report) charts() (out []figure) {
	leads := r.Of("lead")
	if len(leads) == 0 {
		return nil
	}
	for _, draw := range []func([]Score) figure{r.drawSkill, r.drawDates, r.drawReliability, r.drawGroups} {
		if f := draw(leads); f.SVG != "" {
			out = append(out, f)
		}
	}
	return out
}

// byLead is a chart of curves over the leads, from 0 or below, with room for their
// names above them.
func (r *Report) byLead(d *drawing, lines ...line) *drawing {
	d.width, d.height, d.left, d.across, d.lines = wide, high, 58, true, lines
	d.x, d.y = span{float64(r.Leads[0]), float64(r.Leads[0]) + 1}, span{0, 1}
	for _, l := range r.Leads {
		d.xTicks = append(d.xTicks, float64(l))
	}
	d.fit()
	d.y.to += (d.y.to - d.y.from) * 0.3
	return d
}

func (r *Report) drawSkill(leads []Score) figure {
	a, b := line{name: "against the calendar"}, line{name: "against last year's date", style: 1}
	for _, s := range leads {
		a.x, a.y, a.ranges = append(a.x, float64(s.Lead)), append(a.y, 100*s.Skill.Value), append(a.ranges, times(s.Skill, 100))
		// Moved aside so that bars do not hide each other.
		b.x, b.y, b.ranges = append(b.x, float64(s.Lead)+0.8), append(b.y, 100*s.SkillLast.Value), append(b.ranges, times(s.SkillLast, 100))
	}
	d := r.byLead(&drawing{title: "Skill against the calendar and last year's date", desc: "Above 0 the forecast is better; bars are 90% bootstrap intervals over seasons.",
		xLabel: "lead (days from issue to target)", yLabel: "skill score (%)"}, a, b)
	return figure{d.svg(), fmt.Sprintf("Brier skill score by lead. Above 0 the forecast beats the reference; 100%% is perfect. Bars: %.0f%% bootstrap intervals over seasons.", level*100)}
}

func times(i verify.Interval, k float64) verify.Interval {
	i.Value, i.Low, i.High = k*i.Value, k*i.Low, k*i.High
	return i
}

func (r *Report) drawDates(leads []Score) figure {
	a, b, c := line{name: "forecast"}, line{name: "calendar", style: 1}, line{name: "last year's date", style: 2}
	for _, s := range leads {
		x := float64(s.Lead)
		a.x, a.y = append(a.x, x), append(a.y, s.Error)
		b.x, b.y = append(b.x, x), append(b.y, s.ErrorCalendar)
		c.x, c.y = append(c.x, x), append(c.y, s.ErrorLast)
	}
	if len(a.y) == 0 || math.IsNaN(a.y[0]) && math.IsNaN(a.y[len(a.y)-1]) {
		return figure{}
	}
	d := r.byLead(&drawing{title: "Mean absolute error of the peak date", desc: "Smaller is better.",
		xLabel: "lead (days before the calendar's date)", yLabel: "error of the peak (days)"}, a, b, c)
	return figure{d.svg(), "Peak date: mean absolute error in days; smaller is better."}
}

func (r *Report) drawReliability([]Score) figure {
	d := &drawing{title: "Reliability", desc: "Curves near the diagonal are reliable.", width: square, height: square, left: 58,
		xLabel: "forecast chance (%)", yLabel: "observed frequency (%)", x: span{0, 100}, y: span{0, 100}, diagonal: true}
	at := 0
	for i, lead := range r.Leads {
		if i != 0 && i != len(r.Leads)/2 && i != len(r.Leads)-1 {
			continue // three curves can be distinguished, five cannot
		}
		l := line{name: fmt.Sprintf("%d days ahead", lead), style: at}
		at++
		sums := make([]Bin, binCount)
		for _, s := range r.Shards {
			for k := range sums {
				if i < len(s.Bins) {
					sums[k].N += s.Bins[i][k].N
					sums[k].P += s.Bins[i][k].P
					sums[k].Q += s.Bins[i][k].Q
				}
			}
		}
		var honest []verify.ReliabilityPoint
		if r.BySightings {
			chance, _, y := r.cases(lead)
			if len(y) > 0 {
				honest = verify.Reliability(chance, y, verify.EqualBins(binCount), level, 300, seed)
			}
		}
		for _, b := range sums {
			if b.N < leastInBin {
				continue
			}
			n := float64(b.N)
			l.x, l.y = append(l.x, 100*b.P/n), append(l.y, 100*b.Q/n)
			if honest != nil {
				l.ranges = append(l.ranges, bar(honest, b.P/n))
			}
		}
		if len(l.x) > 0 {
			d.lines = append(d.lines, l)
		}
	}
	caption := "Reliability diagram: observed frequency against forecast chance. Reliable forecasts lie on the diagonal."
	if r.BySightings {
		caption += " Bars: where a reliable forecast would fall by chance alone."
	} else {
		caption += " Observed here means the end-of-season model analysis: this shows consistency, not accuracy."
	}
	return figure{d.svg(), caption}
}

// leastInBin is how many days a bin must hold to be drawn. Our own default.
const leastInBin = 10

// bar is where an honest forecast's frequency would lie, %.
func bar(points []verify.ReliabilityPoint, p float64) verify.Interval {
	for _, x := range points {
		if math.Abs(x.P-p) < 1e-9 {
			return verify.Interval{Low: 100 * x.Low, High: 100 * x.High}
		}
	}
	return verify.Interval{Low: math.NaN(), High: math.NaN()}
}

// drawGroups shows the groups from the one in which most is gained to the one in
// which most is lost.
func (r *Report) drawGroups([]Score) figure {
	var rows []Score
	for _, s := range r.Of("group") {
		if !math.IsNaN(s.Skill.Value) && !math.IsInf(s.Skill.Value, 0) {
			rows = append(rows, s)
		}
	}
	if len(rows) == 0 {
		return figure{}
	}
	sortBySkill(rows)
	d := &drawing{title: "Skill by group and stage", desc: "Right of 0 the forecast beats the calendar.", width: wide, height: float64(len(rows))*rowGap + edge + under,
		xLabel: "skill score against the calendar (%)", up: true, y: span{-0.5, float64(len(rows)) - 0.5}, x: span{-1, 1}}
	longest := 0
	var dots line
	for i, s := range rows {
		name := plain(s.Group) + ", " + string(s.Stage)
		d.rows, longest = append(d.rows, name), max(longest, len(name))
		bar := times(s.Skill, 100)
		bar.Low, bar.High = clip(bar.Low), clip(bar.High)
		dots.x, dots.y, dots.ranges = append(dots.x, clip(bar.Value)), append(dots.y, float64(len(rows)-1-i)), append(dots.ranges, bar)
		d.x = d.x.with(clip(bar.Value)).with(bar.Low).with(bar.High)
	}
	d.left = 20 + 7.4*float64(longest)
	d.lines = []line{dots}
	return figure{d.svg(), "By group and stage, all leads. Right of 0 the forecast beats the calendar; left of 0 the calendar is better. Values below −100% are drawn at −100%."}
}

func clip(v float64) float64 { return max(v, -100) }
