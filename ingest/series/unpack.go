package series

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"sync"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
)

// form says how the values of a column are stored in its pages.
type form[T any] struct {
	plain func(data []byte, n int) ([]T, error) // reads n values in Parquet's encoding PLAIN
	null  *T                                    // stands for a value that is not there; nil: the column has them all
}

var (
	missing   = math.NaN()
	floatForm = form[float64]{plainFloats, &missing}
	intForm   = form[int64]{plain: plainInts}
	textForm  = form[string]{plain: plainTexts}
)

func smallForm[T ~uint8 | ~int32]() form[T] { return form[T]{plain: plainSmall[T]} }

// unpacker holds memory that the next column uses again.
type unpacker struct {
	levels, codes []uint32
	bytes         []byte
}

var unpackers = sync.Pool{New: func() any { return new(unpacker) }}

// readPages fills rows with a column of a row group. The library reads the headers of
// the pages and unpacks their compression; their values are decoded here.
func readPages[T any](g *file.RowGroupReader, at int, rows []T, f form[T]) error {
	pages, err := g.GetColumnPageReader(at)
	if err != nil {
		return err
	}
	u := unpackers.Get().(*unpacker)
	defer unpackers.Put(u)
	var dictionary []T
	done := 0
	for done < len(rows) && pages.Next() {
		switch p := pages.Page().(type) {
		case *file.DictionaryPage:
			dictionary, err = f.plain(p.Data(), int(p.NumValues()))
		case *file.DataPageV1:
			n := int(p.NumValues())
			if n < 1 || n > len(rows)-done {
				return fmt.Errorf("a page claims %d rows, %d are left", n, len(rows)-done)
			}
			err = readPage(u, p.Data(), parquet.Encoding(p.Encoding()), dictionary, rows[done:done+n], f)
			done += n
		default:
			err = errors.New("it has a page of an unknown kind")
		}
		if err != nil {
			return err
		}
	}
	if err := pages.Err(); err != nil {
		return err
	}
	if done < len(rows) {
		return fmt.Errorf("it ends after %d of %d rows", done, len(rows))
	}
	return nil
}

var errShort = errors.New("a page is too short")

// readPage fills rows with one page.
func readPage[T any](u *unpacker, data []byte, encoding parquet.Encoding, dictionary, rows []T, f form[T]) error {
	if f.null == nil {
		return readValues(u, data, encoding, dictionary, rows, f)
	}
	if len(data) < 4 {
		return errShort
	}
	size := uint64(binary.LittleEndian.Uint32(data))
	data = data[4:]
	if size > uint64(len(data)) {
		return errShort
	}
	u.levels = room(u.levels, len(rows))
	if err := u.runs(data[:size], 1, u.levels); err != nil {
		return err
	}
	n := 0
	for _, defined := range u.levels {
		if defined > 1 {
			return fmt.Errorf("a definition level of %d", defined)
		}
		n += int(defined)
	}
	if err := readValues(u, data[size:], encoding, dictionary, rows[:n], f); err != nil {
		return err
	}
	// The values come packed: move them to their rows, last one first.
	for i := len(rows) - 1; n <= i; i-- {
		if u.levels[i] == 0 {
			rows[i] = *f.null
			continue
		}
		n--
		rows[i] = rows[n]
	}
	return nil
}

// readValues fills rows with the values of one page, none of which is missing.
func readValues[T any](u *unpacker, data []byte, encoding parquet.Encoding, dictionary, rows []T, f form[T]) error {
	switch encoding {
	case parquet.Encodings.RLEDict, parquet.Encodings.PlainDict:
		if len(rows) == 0 {
			return nil
		}
		if len(data) == 0 {
			return errShort
		}
		u.codes = room(u.codes, len(rows))
		if err := u.runs(data[1:], int(data[0]), u.codes); err != nil {
			return err
		}
		for i, code := range u.codes {
			if uint64(code) >= uint64(len(dictionary)) {
				return fmt.Errorf("value %d of a dictionary of %d", code, len(dictionary))
			}
			rows[i] = dictionary[code]
		}
		return nil
	case parquet.Encodings.DeltaBinaryPacked:
		if numbers, ok := any(rows).([]int64); ok {
			return u.deltas(data, numbers)
		}
	case parquet.Encodings.Plain:
		got, err := f.plain(data, len(rows))
		copy(rows, got)
		return err
	}
	return fmt.Errorf("a page has the encoding %s", encoding)
}

// room is memory for n numbers, that of old where it is enough.
func room(old []uint32, n int) []uint32 {
	if cap(old) < n {
		return make([]uint32, n)
	}
	return old[:n]
}
