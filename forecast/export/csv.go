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
type csvSink struct {
	w       *csv.Writer
	columns []column
	record  []string
}

func newCSV(w io.Writer, t layout) (sink, error) {
	s := &csvSink{w: csv.NewWriter(w), columns: t.columns, record: make([]string, len(t.columns)+1)}
	s.w.UseCRLF = true
	for i, c := range t.columns {
		s.record[i] = c.name
	}
	s.record[len(t.columns)] = "caution"
	return s, s.w.Write(s.record)
}

func (s *csvSink) write(rows int) error {
	s.record[len(s.columns)] = RowCaution
	for i := range rows {
		for k, c := range s.columns {
			v, ok := text(c.at(i))
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

func (s *csvSink) close() error {
	s.w.Flush()
	return s.w.Error()
}

// csvDescription describes a CSV file by the W3C's Metadata Vocabulary for
// Tabular Data (CSVW, 2015), which looks for it at the file's name followed by
// -metadata.json. The vocabulary declares no prefix of our own, so that what it
// does not name itself is said in terms of Dublin Core (dc) and schema.org
// (schema), which it predefines. CF names are property URLs of the NERC vocabulary
// server, whose form is from memory.
func csvDescription(url string, t layout, m Meta) ([]byte, error) {
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
	columns := make([]column, 0, len(t.columns)+1)
	for _, c := range t.columns {
		d := column{c.name, c.name, c.long, csvType(c.zero), slices.Contains(t.key, c.name), c.units, ""}
		if c.standard != "" {
			d.Standard = "http://vocab.nerc.ac.uk/standard_name/" + c.standard + "/"
		}
		columns = append(columns, d)
	}
	columns = append(columns, column{Titles: "caution", Name: "caution", Description: "short form of: " + m.comment(), Datatype: "string"})
	doc := map[string]any{
		"@context": []any{"http://www.w3.org/ns/csvw", map[string]string{"@language": "en"}}, "url": url,
		"dialect":     map[string]any{"header": true, "lineTerminators": []string{"\r\n"}},
		"tableSchema": schema{columns, t.key},
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
