package series

import (
	"bytes"
	"fmt"
	"slices"

	"github.com/apache/arrow/go/v15/parquet/file"

	"example.org/eclose/ingest"
)

// decode reads the wanted columns of one file, all members or one of them.
// Callers check the file's hash first; what gets here damaged all the same ends
// in an error, not in a panic.
func decode(data []byte, want columns, members wanted) (t table, err error) {
	defer func() {
		if r := recover(); r != nil {
			t, err = table{}, fmt.Errorf("the decoder gave up: %v", r)
		}
	}()
	r, err := file.NewParquetReader(bytes.NewReader(data))
	if err != nil {
		return table{}, err
	}
	defer r.Close() //nolint:errcheck // closing a bytes.Reader cannot fail
	ensemble, err := checkSchema(r)
	if err != nil {
		return table{}, err
	}
	// A row takes at least some bits of the file: refuse a count that would
	// make us reserve memory for rows which cannot be there.
	rows := r.NumRows()
	if rows < 0 || rows > int64(len(data))*rowsPerByte {
		return table{}, fmt.Errorf("it claims %d rows in %d bytes", rows, len(data))
	}
	if !ensemble || members.all {
		t.reserve(int(rows), want, ensemble)
	}
	for i := range r.NumRowGroups() {
		if err := readGroup(r.RowGroup(i), ensemble, want, members, &t); err != nil {
			return table{}, fmt.Errorf("row group %d: %w", i, err)
		}
	}
	return t, nil
}

// rowsPerByte is far above what any real file reaches (about 100 rows a byte
// where nothing changes).
const rowsPerByte = 1 << 12

// wanted is all members or one.
type wanted struct {
	all    bool
	member int
}

// reserve makes room for rows of the wanted columns.
func (t *table) reserve(n int, want columns, ensemble bool) {
	if ensemble {
		t.member = make([]int32, 0, n)
	}
	t.time = make([]int64, 0, n)
	if want&colValue != 0 {
		t.value = make([]float64, 0, n)
	}
	if want&colQualifier != 0 {
		t.qualifier = make([]string, 0, n)
	}
	if want&colApproval != 0 {
		t.approval = make([]ingest.Approval, 0, n)
	}
	if want&colFlag != 0 {
		t.flag = make([]ingest.Flag, 0, n)
	}
	if want&colTest != 0 {
		t.test = make([]string, 0, n)
	}
	if want&colRetrieved != 0 {
		t.retrieved = make([]int64, 0, n)
	}
}

func checkSchema(r *file.Reader) (ensemble bool, err error) {
	have := r.MetaData().Schema
	ensemble = have.NumColumns() == len(columnNames)+1
	root, err := fileSchema(ensemble)
	if err != nil {
		return false, err
	}
	if have.NumColumns() != root.NumFields() {
		return false, fmt.Errorf("it has %d columns, %d were expected", have.NumColumns(), root.NumFields())
	}
	for i := range root.NumFields() {
		if c := have.Column(i); !c.SchemaNode().Equals(root.Field(i)) {
			return false, fmt.Errorf("column %d is %s, not %s as expected", i, c, root.Field(i))
		}
	}
	return ensemble, nil
}

func readGroup(g *file.RowGroupReader, ensemble bool, want columns, members wanted, t *table) error {
	n := int(g.NumRows())
	if n < 0 || n > rowGroupRows {
		return fmt.Errorf("it claims %d rows", n)
	}
	first := 0 // index of the column "time"
	a, b := 0, n
	if ensemble {
		first = 1
		member := make([]int32, n)
		if err := readPages(g, 0, member, smallForm[int32]()); err != nil {
			return fmt.Errorf("column %s: %w", memberName, err)
		}
		if !members.all {
			one := table{member: member}
			if a, b = one.ofMember(members.member); a == b {
				return nil
			}
		}
		t.member = append(t.member, member[a:b]...)
	} else if !members.all && members.member != 0 {
		return nil
	}
	for i, name := range columnNames {
		if err := readColumn(g, first+i, i, n, a, b, want, t); err != nil {
			return fmt.Errorf("column %s: %w", name, err)
		}
	}
	return nil
}

// readColumn reads column number at of the group, which is which in the order
// of columnNames, and appends its rows [a, b) to t.
func readColumn(g *file.RowGroupReader, at, which, n, a, b int, want columns, t *table) (err error) {
	switch which {
	case 0:
		t.time, err = appendColumn(g, at, n, a, b, t.time, intForm)
	case 1:
		if want&colValue != 0 {
			t.value, err = appendColumn(g, at, n, a, b, t.value, floatForm)
		}
	case 2:
		if want&colQualifier != 0 {
			t.qualifier, err = appendColumn(g, at, n, a, b, t.qualifier, textForm)
		}
	case 3:
		if want&colApproval != 0 {
			t.approval, err = appendColumn(g, at, n, a, b, t.approval, smallForm[ingest.Approval]())
		}
	case 4:
		if want&colFlag != 0 {
			t.flag, err = appendColumn(g, at, n, a, b, t.flag, smallForm[ingest.Flag]())
		}
	case 5:
		if want&colTest != 0 {
			t.test, err = appendColumn(g, at, n, a, b, t.test, textForm)
		}
	case 6:
		if want&colRetrieved != 0 {
			t.retrieved, err = appendColumn(g, at, n, a, b, t.retrieved, intForm)
		}
	}
	return err
}

// appendColumn appends rows [a, b) of the n of a column to col.
func appendColumn[T any](g *file.RowGroupReader, at, n, a, b int, col []T, f form[T]) ([]T, error) {
	k := len(col)
	col = slices.Grow(col, n)[:k+n]
	err := readPages(g, at, col[k:], f)
	copy(col[k:], col[k+a:k+b])
	return col[:k+b-a], err
}
