package series

import (
	"bytes"
	"errors"
	"fmt"
	"math"

	"github.com/apache/arrow/go/v15/parquet"
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
		member, err := readSmall[int32](g, 0, n)
		if err != nil {
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
		t.time, err = appendInt64(g, at, n, a, b, t.time)
	case 1:
		if want&colValue != 0 {
			t.value, err = appendValues(g, at, n, a, b, t.value)
		}
	case 2:
		if want&colQualifier != 0 {
			t.qualifier, err = appendStrings(g, at, n, a, b, t.qualifier)
		}
	case 3:
		if want&colApproval != 0 {
			t.approval, err = appendSmall(g, at, n, a, b, t.approval)
		}
	case 4:
		if want&colFlag != 0 {
			t.flag, err = appendSmall(g, at, n, a, b, t.flag)
		}
	case 5:
		if want&colTest != 0 {
			t.test, err = appendStrings(g, at, n, a, b, t.test)
		}
	case 6:
		if want&colRetrieved != 0 {
			t.retrieved, err = appendInt64(g, at, n, a, b, t.retrieved)
		}
	}
	return err
}

// fill calls read until n rows have come: a reader stops at the end of a page.
func fill(n int, read func(done int) (rows int64, values int, err error)) error {
	for done := 0; done < n; {
		rows, values, err := read(done)
		if err != nil {
			return err
		}
		if rows <= 0 || int(rows) > n-done || values != int(rows) {
			return fmt.Errorf("it ends after %d of %d rows", done, n)
		}
		done += int(rows)
	}
	return nil
}

var errColumnType = errors.New("it has another type than the schema says")

func column[C any](g *file.RowGroupReader, at int) (c C, err error) {
	any, err := g.Column(at)
	if err != nil {
		return c, err
	}
	c, ok := any.(C)
	if !ok {
		return c, errColumnType
	}
	return c, nil
}

// extend makes room for n rows after col and returns col and that room.
func extend[T any](col []T, n int) (grown, room []T) {
	k := len(col)
	if cap(col)-k < n {
		grown = make([]T, k+n)
		copy(grown, col)
	} else {
		grown = col[:k+n]
	}
	return grown, grown[k:]
}

// keep drops what precedes row a and follows row b of the n last rows of col.
func keep[T any](col []T, n, a, b int) []T {
	k := len(col) - n
	copy(col[k:], col[k+a:k+b])
	return col[:k+b-a]
}

func appendInt64(g *file.RowGroupReader, at, n, a, b int, col []int64) ([]int64, error) {
	c, err := column[*file.Int64ColumnChunkReader](g, at)
	if err != nil {
		return col, err
	}
	col, room := extend(col, n)
	err = fill(n, func(done int) (int64, int, error) {
		return c.ReadBatch(int64(n-done), room[done:], nil, nil)
	})
	return keep(col, n, a, b), err
}

func readSmall[T ~uint8 | ~int32](g *file.RowGroupReader, at, n int) ([]T, error) {
	c, err := column[*file.Int32ColumnChunkReader](g, at)
	if err != nil {
		return nil, err
	}
	wide := make([]int32, n)
	err = fill(n, func(done int) (int64, int, error) {
		return c.ReadBatch(int64(n-done), wide[done:], nil, nil)
	})
	out := make([]T, n)
	for i, x := range wide {
		out[i] = T(x)
	}
	return out, err
}

func appendSmall[T ~uint8](g *file.RowGroupReader, at, n, a, b int, col []T) ([]T, error) {
	got, err := readSmall[T](g, at, n)
	if err != nil {
		return col, err
	}
	return append(col, got[a:b]...), nil
}

func appendStrings(g *file.RowGroupReader, at, n, a, b int, col []string) ([]string, error) {
	c, err := column[*file.ByteArrayColumnChunkReader](g, at)
	if err != nil {
		return col, err
	}
	texts := make([]parquet.ByteArray, n)
	col, room := extend(col, n)
	known := map[string]string{} // one string for each distinct text, apart from the page it came in
	last := ""
	err = fill(n, func(done int) (int64, int, error) {
		rows, values, err := c.ReadBatch(int64(n-done), texts[done:], nil, nil)
		// Before the next page replaces the memory the texts point into.
		for i := done; i < done+values && i < n; i++ {
			if string(texts[i]) != last {
				text, ok := known[string(texts[i])]
				if !ok {
					text = string(texts[i])
					known[text] = text
				}
				last = text
			}
			room[i] = last
		}
		return rows, values, err
	})
	return keep(col, n, a, b), err
}

func appendValues(g *file.RowGroupReader, at, n, a, b int, col []float64) ([]float64, error) {
	c, err := column[*file.Float64ColumnChunkReader](g, at)
	if err != nil {
		return col, err
	}
	col, room := extend(col, n)
	defined := make([]int16, n)
	err = fill(n, func(done int) (int64, int, error) {
		rows, values, err := c.ReadBatch(int64(n-done), room[done:], defined[done:], nil)
		if err != nil || rows < 0 || int(rows) > n-done || values < 0 || values > int(rows) {
			return 0, 0, err
		}
		// The values come packed: move them to their rows, last one first.
		from := done + values
		for i := done + int(rows) - 1; i >= done && values < int(rows); i-- {
			if defined[i] == 0 {
				room[i] = math.NaN()
				continue
			}
			if from--; from < done {
				return 0, 0, errors.New("more rows have a value than there are values")
			}
			room[i] = room[from]
		}
		return rows, int(rows), nil
	})
	return keep(col, n, a, b), err
}
