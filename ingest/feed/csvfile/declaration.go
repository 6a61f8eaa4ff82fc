package csvfile

import (
	"errors"
	"fmt"

	"example.org/eclose/ingest"
)

// Faults lists what is wrong with the declaration itself, whatever file it is
// used for.
func (p Parser) Faults() (out []error) {
	if len(p.Columns) == 0 {
		out = append(out, errors.New("no column is declared"))
	}
	for _, c := range p.Columns {
		switch {
		case c.Name == "":
			out = append(out, errors.New("a column has no name"))
		case c.Variable.Unit() == "":
			out = append(out, fmt.Errorf("column %q: unknown variable %q", c.Name, c.Variable))
		default:
			if _, err := ingest.ConversionOf(c.Variable, c.Unit); err != nil {
				out = append(out, fmt.Errorf("column %q: unknown unit %q for %s; write %s", c.Name, c.Unit, c.Variable, ingest.UnitExamples(c.Variable)))
			}
		}
	}
	if r := []rune(p.Delimiter); p.Delimiter != "" && p.Delimiter != `\t` && (len(r) != 1 || !validComma(r[0])) {
		out = append(out, fmt.Errorf("delimiter %q is not allowed; use a comma, a semicolon or a tab", p.Delimiter))
	}
	if _, err := newClock(&p); err != nil {
		out = append(out, err)
	}
	return out
}
