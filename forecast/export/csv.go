package export

import (
	"bufio"
	"encoding/csv"
	"io"
	"strings"
)

// csvSink writes RFC 4180 with a header row, after lines that begin with # and
// carry the attributes and each column's units. Readers that know comments
// (pandas: comment="#"; DuckDB and R's data.table by themselves or by option)
// skip them. No value is an empty field.
type csvSink[R any] struct {
	w       *csv.Writer
	b       *bufio.Writer
	columns []Column[R]
	record  []string
}

func newCSV[R any](w io.Writer, t Table[R], m Meta) (sink[R], error) {
	b := bufio.NewWriterSize(w, 1<<16)
	line := strings.NewReplacer("\r", " ", "\n", " ")
	for _, a := range t.attributes(m) {
		b.WriteString("# " + a.name + ": " + line.Replace(a.value) + "\r\n") //nolint:errcheck // the writer keeps its first error for Flush
	}
	s := &csvSink[R]{w: csv.NewWriter(b), b: b, columns: t.Columns, record: make([]string, len(t.Columns))}
	s.w.UseCRLF = true
	for i, c := range t.Columns {
		b.WriteString("# " + c.Name + " [" + c.Units + "]: " + c.Long + "\r\n") //nolint:errcheck // as above
		s.record[i] = c.Name
	}
	return s, s.w.Write(s.record)
}

func (s *csvSink[R]) write(rows []R) error {
	for i := range rows {
		for k, c := range s.columns {
			v, ok := text(c.Field(&rows[i]))
			if !ok {
				v = ""
			}
			s.record[k] = v
		}
		if err := s.w.Write(s.record); err != nil {
			return err
		}
	}
	return nil
}

func (s *csvSink[R]) close() error {
	s.w.Flush()
	if err := s.w.Error(); err != nil {
		return err
	}
	return s.b.Flush()
}
