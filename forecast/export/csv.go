package export

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"slices"
	"time"

	"example.org/eclose/forecast"
)

// RowCaution is the last column of every CSV row, for rows get cut out and passed
// on. It is short and can be read without a key; the whole text stands in the
// description beside the file.
const RowCaution = "not-wading-advice"

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
// -metadata.json. The vocabulary declares no prefix of our own, so that what it
// does not name itself is said in terms of Dublin Core (dc) and schema.org
// (schema), which it predefines. CF names are property URLs of the NERC vocabulary
// server, whose form is from memory.
func csvDescription[R any](url string, t Table[R], m Meta) ([]byte, error) {
	type column struct {
		Titles      string `json:"titles"`
		Name        string `json:"name"`
		Description string `json:"dc:description"`
		Datatype    string `json:"datatype"`
		Required    bool   `json:"required,omitempty"`
		Units       string `json:"schema:unitText,omitempty"`
		Standard    string `json:"propertyUrl,omitempty"`
	}
	type schema struct {
		Columns []column `json:"columns"`
		Key     []string `json:"primaryKey,omitempty"`
	}
	var zero R
	columns := make([]column, 0, len(t.Columns)+1)
	for _, c := range t.Columns {
		d := column{c.Name, c.Name, c.Long, csvType(c.Field(&zero)), slices.Contains(t.Key, c.Name), c.Units, ""}
		if c.Standard != "" {
			d.Standard = "http://vocab.nerc.ac.uk/standard_name/" + c.Standard + "/"
		}
		columns = append(columns, d)
	}
	columns = append(columns, column{Titles: "caution", Name: "caution", Description: "short form of: " + m.comment(), Datatype: "string"})
	doc := map[string]any{
		"@context": []any{"http://www.w3.org/ns/csvw", map[string]string{"@language": "en"}}, "url": url,
		"dialect":     map[string]any{"header": true, "lineTerminators": []string{"\r\n"}},
		"tableSchema": schema{columns, t.Key},
	}
	for _, a := range t.attributes(m) {
		doc[csvTerms[a.name]] = a.value
	}
	return json.MarshalIndent(doc, "", " ")
}

// csvTerms are the names of a file's attributes in Dublin Core and schema.org.
var csvTerms = map[string]string{
	"Conventions": "dc:conformsTo", "title": "dc:title", "schema": "schema:additionalType", "schema_version": "schema:version",
	"source": "dc:source", "history": "dc:provenance", "date_created": "dc:created", "comment": "dc:description",
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
