package archive

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/klauspost/compress/gzip"

	"example.org/eclose/forecast"
)

// An outlook's file is a gzip stream: a line of JSON, a line feed, then columns
// of whole numbers. The line holds everything but the days; its "format" is
// fileFormat. Each number of a column is kept as its second difference, what it
// differs from the straight line through the two before it (before the first are
// zeros), as a zigzag varint (that of Protocol Buffers).
//
// The columns follow each other in this order, one of all stages before the next:
//
//	of the stages, "days" of the line's entry numbers each: p, p_calendar in
//	  1/1000; activity 10, 50, 90 % point, activity_calendar in 1/10000;
//	of the water, in 1/100 °C: p10, p50, p90, max_p50, max_p90, then whether a
//	  day is observed (0 or 1), observed, whether it has a normal, normal;
//	of the flow, where there is one, in 10^-decimals m3/s: p05, p10, p25, p50,
//	  p75, p90, p95; p_rise in 1/1000, then whether a day has a chance of
//	  fishable flow, and that in 1/1000.
//
// A value that is not there takes that of the day before. archive_test.go reads a
// file with thirty lines of Python.
const fileFormat = "eclose-outlook 2"

// formatFirst is the format before: first differences, and all columns of a stage
// before the next stage. It is read, no longer written.
const formatFirst = "eclose-outlook 1"

// span is where a table begins and how many days it has.
type span struct {
	From     forecast.Date `json:"from"`
	Days     int           `json:"days"`
	Decimals int           `json:"decimals,omitempty"`
}

// line is the first line of a file.
type line struct {
	Format  string           `json:"format"`
	Stages  []span           `json:"stages"`
	Water   span             `json:"water"`
	Flow    *span            `json:"flow,omitempty"`
	Outlook forecast.Outlook `json:"outlook"` // without its days
}

// unpacked is the content of an outlook's file before it is compressed; its sum
// is recorded, so that another version of the compressor is no change.
func unpacked(o *forecast.Outlook) ([]byte, error) {
	l := line{Format: fileFormat, Outlook: *o, Stages: make([]span, len(o.Stages))}
	l.Outlook.Stages = append([]forecast.StageOutlook(nil), o.Stages...)
	var c columns
	for i := range l.Outlook.Stages {
		l.Stages[i] = span{From: o.Stages[i].Days.From, Days: o.Stages[i].Days.Len()}
		l.Outlook.Stages[i].Days = forecast.Days{}
	}
	writeDays(&c, o.Stages)
	l.Outlook.Water, l.Water.Days = nil, len(o.Water)
	if len(o.Water) > 0 {
		l.Water.From = o.Water[0].Date
	}
	for i, d := range o.Water {
		if d.Date != l.Water.From+forecast.Date(i) {
			return nil, fmt.Errorf("the water has no day before %s", d.Date)
		}
	}
	writeWater(&c, o.Water)
	if o.Flow != nil {
		f := *o.Flow
		f.Days = nil
		l.Outlook.Flow = &f
		l.Flow = &span{Days: len(o.Flow.Days), Decimals: decimalsOf(o.Flow.Days)}
		if l.Flow.Days > 0 {
			l.Flow.From = o.Flow.Days[0].Date
		}
		for i, d := range o.Flow.Days {
			if d.Date != l.Flow.From+forecast.Date(i) {
				return nil, fmt.Errorf("the flow has no day before %s", d.Date)
			}
		}
		writeFlow(&c, o.Flow.Days, l.Flow.Decimals)
	}
	head, err := json.Marshal(l)
	if err != nil {
		return nil, err
	}
	return append(append(head, '\n'), c.b...), nil
}

func pack(content []byte) ([]byte, error) {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(content); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func unpack(file []byte) ([]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(file))
	if err != nil {
		return nil, err
	}
	content, err := io.ReadAll(io.LimitReader(z, maxContent))
	if err != nil {
		return nil, err
	}
	return content, z.Close()
}

var errShort = errors.New("its columns end too early")

// outlookOf reads what unpacked wrote.
func outlookOf(content []byte) (*forecast.Outlook, error) {
	head, rest, found := bytes.Cut(content, []byte{'\n'})
	if !found {
		return nil, errors.New("it has no first line")
	}
	var l line
	if err := json.Unmarshal(renamed(head), &l); err != nil {
		return nil, err
	}
	o := &l.Outlook
	switch {
	case l.Format != fileFormat && l.Format != formatFirst:
		return nil, fmt.Errorf("its format is %q, this program reads %q; use a newer version", l.Format, fileFormat)
	case len(l.Stages) != len(o.Stages) || (l.Flow == nil) != (o.Flow == nil):
		return nil, errors.New("its first line contradicts itself")
	}
	c := columns{b: rest, first: l.Format == formatFirst}
	for i, days := range readDays(&c, l.Stages) {
		o.Stages[i].Days = days
	}
	o.Water = readWater(&c, l.Water)
	if l.Flow != nil {
		o.Flow.Days = readFlow(&c, *l.Flow)
	}
	switch {
	case c.short:
		return nil, errShort
	case len(c.b) > 0:
		return nil, fmt.Errorf("%d bytes follow its columns", len(c.b))
	}
	return o, nil
}

// decimalsOf is how many decimals the flows of an outlook have, at most nine.
func decimalsOf(days []forecast.FlowDay) int {
	for n := range 9 {
		if whole(days, math.Pow10(n)) {
			return n
		}
	}
	return 9
}

func whole(days []forecast.FlowDay, scale float64) bool {
	for i := range days {
		for _, v := range quantiles(&days[i]) {
			if math.Round(*v*scale)/scale != *v {
				return false
			}
		}
	}
	return true
}

func quantiles(d *forecast.FlowDay) [7]*float64 {
	return [7]*float64{&d.P05, &d.P10, &d.P25, &d.P50, &d.P75, &d.P90, &d.P95}
}
