package health

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/VictoriaMetrics/metrics"
)

// A family is all metrics of one name. What is counted lies in its set; a gauge is
// read when it is asked for.
type family struct {
	name, help string
	labels     []string
	counted    *metrics.Set // nil: gauges
	gauges     strings.Builder
}

func newGauge(name, help string, labels ...string) *family {
	return &family{name: "eclose_" + name, help: help, labels: labels}
}

func newCounted(name, help string, labels ...string) *family {
	return &family{name: "eclose_" + name, help: help, labels: labels, counted: metrics.NewSet()}
}

// jobSeconds are the seconds of a job's attempt or wait up to which it is counted; our own.
var jobSeconds = []float64{.005, .02, .1, .5, 2, 10, 60, 300, 1800}

func (f *family) counter(values ...string) *metrics.Counter {
	return f.counted.GetOrCreateCounter(f.of(values))
}

func (f *family) histogram(values ...string) *metrics.PrometheusHistogram {
	return f.counted.GetOrCreatePrometheusHistogramExt(f.of(values), jobSeconds)
}

func (f *family) gauge(v float64, values ...string) {
	fmt.Fprintf(&f.gauges, "%s %s\n", f.of(values), strconv.FormatFloat(v, 'g', -1, 64))
}

var escaper = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

// of is the name of one metric, with the values of its labels.
func (f *family) of(values []string) string {
	if len(values) == 0 {
		return f.name
	}
	var b strings.Builder
	for i, v := range values {
		fmt.Fprintf(&b, `,%s="%s"`, f.labels[i], escaper.Replace(v))
	}
	return f.name + "{" + b.String()[1:] + "}"
}

// text is the family in the text format of Prometheus, version 0.0.4; empty where
// there is nothing of it.
func (f *family) text() string {
	help := "# HELP " + f.name + " " + f.help + "\n"
	if f.counted != nil {
		var b strings.Builder
		f.counted.WritePrometheus(&b)
		return strings.Replace(b.String(), "# HELP "+f.name+"\n", help, 1) // the library writes no help
	}
	if f.gauges.Len() == 0 {
		return ""
	}
	return help + "# TYPE " + f.name + " gauge\n" + f.gauges.String()
}
