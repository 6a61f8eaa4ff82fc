package export

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"example.org/eclose/forecast"
)

// jsonSink writes one object: the attributes, "columns" with units and words,
// and "rows", an array of objects with one row a line. No value is null.
type jsonSink struct {
	b       *bufio.Writer
	columns []column
	buf     []byte
	any     bool
}

type jsonColumn struct {
	Name     string `json:"name"`
	Units    string `json:"units,omitempty"`
	Long     string `json:"long_name"`
	Standard string `json:"standard_name,omitempty"`
}

func describe(columns []column) []jsonColumn {
	out := make([]jsonColumn, len(columns))
	for i, c := range columns {
		out[i] = jsonColumn{c.name, c.units, c.long, c.standard}
	}
	return out
}

func newJSON(w io.Writer, t layout, m Meta) (sink, error) {
	s := &jsonSink{b: bufio.NewWriterSize(w, 1<<16), columns: t.columns}
	s.buf = append(s.buf, "{\n"...)
	var err error
	if s.buf, err = appendAttributes(s.buf, t.attributes(m)); err != nil {
		return nil, err
	}
	columns, err := json.Marshal(describe(t.columns))
	if err != nil {
		return nil, err
	}
	s.buf = append(append(append(s.buf, `"columns": `...), columns...), ",\n\"rows\": ["...)
	_, err = s.b.Write(s.buf)
	return s, err
}

func appendAttributes(buf []byte, attributes []attribute) ([]byte, error) {
	for _, a := range attributes {
		v, err := json.Marshal(a.value)
		if err != nil {
			return nil, fmt.Errorf("attribute %s: %w", a.name, err)
		}
		buf = fmt.Appendf(buf, "%q: %s,\n", a.name, v)
	}
	return buf, nil
}

func (s *jsonSink) write(rows int) error {
	for i := range rows {
		s.buf = s.buf[:0]
		if s.any {
			s.buf = append(s.buf, ',')
		}
		s.any = true
		s.buf = append(s.buf, "\n{"...)
		for k, c := range s.columns {
			if k > 0 {
				s.buf = append(s.buf, ',')
			}
			s.buf = append(append(append(s.buf, '"'), c.name...), "\":"...)
			var err error
			if s.buf, err = appendValue(s.buf, c.at(i)); err != nil {
				return fmt.Errorf("column %s: %w", c.name, err)
			}
		}
		s.buf = append(s.buf, '}')
		if _, err := s.b.Write(s.buf); err != nil {
			return err
		}
	}
	return nil
}

func (s *jsonSink) close() error {
	s.b.WriteString("\n]\n}\n") //nolint:errcheck // the writer keeps its first error for Flush
	return s.b.Flush()
}

func appendValue(buf []byte, p any) ([]byte, error) {
	v, ok := text(p)
	if !ok {
		return append(buf, "null"...), nil
	}
	switch p := p.(type) {
	case *string:
		q, err := json.Marshal(v)
		return append(buf, q...), err
	case *forecast.Date, *time.Time:
		return append(append(append(buf, '"'), v...), '"'), nil
	case *float64:
		if math.IsInf(*p, 0) {
			return nil, fmt.Errorf("%v has no form in JSON", *p)
		}
	}
	return append(buf, v...), nil
}
