package trip

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// Box is what somebody's fly box holds. Names are those of a tying list.
type Box struct{ Flies []Boxed }

// Boxed is one pattern in one size.
type Boxed struct {
	Name  string
	Size  int // hook number
	Count int
}

var boxHeader = []string{"fly", "size", "count"}

// Bounds of what a box may hold; our own, to catch slips of the pen.
const (
	maxSize  = 32
	maxCount = 999
)

// ReadBox reads a table of fly, size and count. file only names it in errors, which say
// the line and what to write. Lines of the same fly and size add up.
func ReadBox(file string, r io.Reader) (Box, error) {
	var b Box
	cr := csv.NewReader(r)
	cr.FieldsPerRecord, cr.TrimLeadingSpace, cr.Comment = -1, true, '#'
	for first := true; ; first = false {
		row, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return b, nil
		}
		if err != nil {
			return b, fmt.Errorf("%s: not a table: %w", file, err)
		}
		line, _ := cr.FieldPos(0)
		if first {
			row[0] = strings.TrimPrefix(row[0], "\ufeff")
			if slices.Equal(row, boxHeader) {
				continue
			}
			return b, fmt.Errorf("%s:%d: the first line must be %s", file, line, strings.Join(boxHeader, ","))
		}
		if len(row) != len(boxHeader) {
			return b, fmt.Errorf("%s:%d: %d columns, expected 3; write e.g. olive spinner,16,4", file, line, len(row))
		}
		size, err1 := strconv.Atoi(strings.TrimSpace(row[1]))
		count, err2 := strconv.Atoi(strings.TrimSpace(row[2]))
		if err1 != nil || err2 != nil {
			return b, fmt.Errorf("%s:%d: size and count must be whole numbers; write e.g. olive spinner,16,4", file, line)
		}
		if err := b.Add(row[0], size, count); err != nil {
			return b, fmt.Errorf("%s:%d: %w", file, line, err)
		}
	}
}

// Write writes the box as ReadBox reads it, by name and size.
func (b Box) Write(w io.Writer) error {
	cw := csv.NewWriter(w)
	rows := [][]string{boxHeader}
	for _, f := range b.Flies {
		rows = append(rows, []string{f.Name, strconv.Itoa(f.Size), strconv.Itoa(f.Count)})
	}
	if err := cw.WriteAll(rows); err != nil {
		return fmt.Errorf("writing the fly box: %w", err)
	}
	return nil
}

// Add puts flies into the box, or with a negative count takes them out.
func (b *Box) Add(name string, size, count int) error {
	name = plainName(name)
	switch {
	case name == "":
		return errors.New("the fly has no name; write e.g. olive spinner")
	case size < 1 || size > maxSize:
		return fmt.Errorf("hook size %d: use 1 to %d", size, maxSize)
	case count > maxCount || count < -maxCount:
		return fmt.Errorf("count %d: use at most %d", count, maxCount)
	}
	i := slices.IndexFunc(b.Flies, func(f Boxed) bool { return f.Name == name && f.Size == size })
	have := 0
	if i >= 0 {
		have = b.Flies[i].Count
	}
	switch n := have + count; {
	case n < 0:
		return fmt.Errorf("the box holds %d %s in size %d, so %d cannot be taken; eclose box lists what it holds", have, name, size, -count)
	case n > maxCount:
		return fmt.Errorf("count %d: use at most %d", n, maxCount)
	case i < 0:
		b.Flies = append(b.Flies, Boxed{name, size, count})
	default:
		b.Flies[i].Count = n
	}
	b.Flies = slices.DeleteFunc(b.Flies, func(f Boxed) bool { return f.Count == 0 })
	sort.Slice(b.Flies, func(i, j int) bool {
		x, y := b.Flies[i], b.Flies[j]
		return cmp.Or(strings.Compare(x.Name, y.Name), x.Size-y.Size) < 0
	})
	return nil
}

// Holds is how many flies of a name and size the box holds.
func (b Box) Holds(name string, size int) int {
	name = plainName(name)
	for _, f := range b.Flies {
		if f.Name == name && f.Size == size {
			return f.Count
		}
	}
	return 0
}

// plainName is a fly's name in lower case with single blanks.
func plainName(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
