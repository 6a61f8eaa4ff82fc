package export

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"time"

	"example.org/eclose/forecast"
)

// RowCaution is the last column of every CSV row: a CSV file has no place of its
// own for the standing caution, and rows get cut out and passed on.
const RowCaution = "insect forecast only, not wading advice; flow can rise without warning"

// csvSink writes plain RFC 4180 with a header row and nothing before it, since
// readers disagree over comments. No value is an empty field. Units and
// attributes are in the description beside the file, see csvDescription.
type csvSink[R any] struct {
	w       *csv.Writer
	columns []Column[R]
	record  []string
}

func newCSV[R any](w io.Writer, t Table[R]) (sink[R], error) {
	s := &csvSink[R]{w: csv.NewWriter(w), columns: t.Columns, record: make([]string, len(t.Columns)+1)}
	s.w.UseCRLF = true
	for i, c := range t.Columns {
		s.record[i] = c.Name
	}
	s.record[len(t.Columns)] = "caution"
	return s, s.w.Write(s.record)
}

func (s *csvSink[R]) write(rows []R) error {
	s.record[len(s.columns)] = RowCaution
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
	return s.w.Error()
}

// csvDescription describes a CSV file by the W3C's Metadata Vocabulary for
// Tabular Data (CSVW, 2015), which looks for it at the file's name followed by
// -metadata.json. Units and CF names are common properties beside the standard's
// own.
func csvDescription[R any](url string, t Table[R], m Meta) ([]byte, error) {
	type column struct {
		Titles      string `json:"titles"`
		Name        string `json:"name"`
		Description string `json:"dc:description"`
		Datatype    string `json:"datatype"`
		Units       string `json:"cf:units,omitempty"`
		Standard    string `json:"cf:standard_name,omitempty"`
	}
	var zero R
	columns := make([]column, 0, len(t.Columns)+1)
	for _, c := range t.Columns {
		columns = append(columns, column{c.Name, c.Name, c.Long, csvType(c.Field(&zero)), c.Units, c.Standard})
	}
	columns = append(columns, column{Titles: "caution", Name: "caution", Description: "short form of the standing caution", Datatype: "string"})
	doc := map[string]any{
		"@context": "http://www.w3.org/ns/csvw", "url": url,
		"dialect":     map[string]any{"header": true, "lineTerminators": "\r\n"},
		"tableSchema": map[string]any{"columns": columns},
	}
	for _, a := range t.attributes(m) {
		doc["cf:"+a.name] = a.value
	}
	return json.MarshalIndent(doc, "", " ")
}

func csvType(p any) string {
	switch p.(type) {
	case *float64:
		return "double"
	case *int:
		return "integer"
	case *bool:
		return "boolean"
	case *forecast.Date:
		return "date"
	case *time.Time:
		return "dateTime"
	}
	return "string"
}
