package export

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"example.org/eclose/forecast"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/compress"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/schema"
)

// parquetSink gathers batches of rows into row groups through the low-level column
// writers: they need none of the library's compute kernels, and no goroutine
// but the caller's.
type parquetSink struct {
	w       *file.Writer
	group   file.BufferedRowGroupWriter // nil: none is begun
	rows    int                         // in it
	columns []column
	levels  []int16
}

// groupRows is how many rows a row group holds at most. A
// column of so many distinct values stays within one dictionary page (1 MiB),
// which keeps clear of a fault of this Arrow release after a dictionary
// overflows.
const groupRows = 32768

func newParquet(w io.Writer, t layout, m Meta) (sink, error) {
	fields := make(schema.FieldList, len(t.columns))
	props := []parquet.WriterProperty{
		// The library makes a compressor anew for each page; that of the lowest level is a
		// fifth of the others' size.
		parquet.WithCompression(compress.Codecs.Zstd), parquet.WithCompressionLevel(1), parquet.WithCreatedBy("eclose"),
		parquet.WithAllocator(memory.DefaultAllocator),
	}
	for i, c := range t.columns {
		var err error
		if fields[i], err = parquetNode(c.name, c.zero); err != nil {
			return nil, fmt.Errorf("column %s: %w", c.name, err)
		}
		if _, ok := c.zero.(*bool); ok {
			props = append(props, parquet.WithDictionaryFor(c.name, false))
		}
	}
	root, err := schema.NewGroupNode("outlook", parquet.Repetitions.Required, fields, -1)
	if err != nil {
		return nil, err
	}
	// The file writer panics when its first bytes cannot be written.
	var fw *file.Writer
	err = guard(func() error {
		fw = file.NewParquetWriter(keepOpen{w}, root, file.WithWriterProps(parquet.NewWriterProperties(props...)))
		return nil
	})
	if err != nil {
		return nil, err
	}
	s := &parquetSink{w: fw, columns: t.columns}
	columns, err := json.Marshal(describe(t.columns))
	if err != nil {
		return nil, err
	}
	for _, a := range append(t.attributes(m), attribute{"columns", string(columns)}) {
		if err := fw.AppendKeyValueMetadata(a.name, a.value); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// keepOpen hides Close from the library, which would close what it writes to:
// closing is the caller's.
type keepOpen struct{ io.Writer }

// guard turns a panic of the library into an error.
func guard(f func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("writing columns: %v", r)
		}
	}()
	return f()
}

func parquetNode(name string, p any) (schema.Node, error) {
	must, may := parquet.Repetitions.Required, parquet.Repetitions.Optional
	switch p.(type) {
	case *string:
		return schema.NewPrimitiveNodeLogical(name, must, schema.StringLogicalType{}, parquet.Types.ByteArray, -1, -1)
	case *float64:
		return schema.NewPrimitiveNode(name, may, parquet.Types.Double, -1, -1)
	case *int:
		return schema.NewPrimitiveNode(name, must, parquet.Types.Int64, -1, -1)
	case *bool:
		return schema.NewPrimitiveNode(name, must, parquet.Types.Boolean, -1, -1)
	case *forecast.Date:
		return schema.NewPrimitiveNodeLogical(name, may, schema.DateLogicalType{}, parquet.Types.Int32, -1, -1)
	case *time.Time:
		return schema.NewPrimitiveNodeLogical(name, may, schema.NewTimestampLogicalType(true, schema.TimeUnitMicros), parquet.Types.Int64, -1, -1)
	}
	return nil, fmt.Errorf("values of type %T have no form in Parquet", p)
}

func (s *parquetSink) write(rows int) error {
	return guard(func() error {
		if s.group == nil {
			s.group = s.w.AppendBufferedRowGroup()
		}
		for i, c := range s.columns {
			cw, err := s.group.Column(i)
			if err == nil {
				err = s.column(cw, c, rows)
			}
			if err != nil {
				return fmt.Errorf("column %s: %w", c.name, err)
			}
		}
		if s.rows += rows; s.rows+batchRows <= groupRows {
			return nil
		}
		return s.endGroup()
	})
}

func (s *parquetSink) endGroup() error {
	if s.group == nil {
		return nil
	}
	err := s.group.Close()
	s.group, s.rows = nil, 0
	return err
}

// column gathers one column of the batch; definition level 1 marks a value, 0
// none.
func (s *parquetSink) column(cw file.ColumnChunkWriter, c column, rows int) error {
	var err error
	switch w := cw.(type) {
	case *file.ByteArrayColumnChunkWriter:
		v := make([]parquet.ByteArray, rows)
		for i := range rows {
			v[i] = parquet.ByteArray(*c.at(i).(*string))
		}
		_, err = w.WriteBatch(v, nil, nil)
	case *file.BooleanColumnChunkWriter:
		v := make([]bool, rows)
		for i := range rows {
			v[i] = *c.at(i).(*bool)
		}
		_, err = w.WriteBatch(v, nil, nil)
	case *file.Float64ColumnChunkWriter:
		v := gather(s, rows, func(i int) (float64, bool) { x := *c.at(i).(*float64); return x, !math.IsNaN(x) })
		_, err = w.WriteBatch(v, s.levels, nil)
	case *file.Int32ColumnChunkWriter:
		v := gather(s, rows, func(i int) (int32, bool) { x := *c.at(i).(*forecast.Date); return int32(x), x != 0 })
		_, err = w.WriteBatch(v, s.levels, nil)
	case *file.Int64ColumnChunkWriter:
		if _, ok := c.zero.(*int); ok {
			v := make([]int64, rows)
			for i := range rows {
				v[i] = int64(*c.at(i).(*int))
			}
			_, err = w.WriteBatch(v, nil, nil)
			break
		}
		v := gather(s, rows, func(i int) (int64, bool) { x := *c.at(i).(*time.Time); return x.UnixMicro(), !x.IsZero() })
		_, err = w.WriteBatch(v, s.levels, nil)
	default:
		err = fmt.Errorf("no writer for %T", cw)
	}
	return err
}

// gather lists the values that are there and leaves the levels in s.
func gather[T any](s *parquetSink, rows int, value func(row int) (T, bool)) []T {
	s.levels = s.levels[:0]
	out := make([]T, 0, rows)
	for i := range rows {
		v, ok := value(i)
		if !ok {
			s.levels = append(s.levels, 0)
			continue
		}
		s.levels = append(s.levels, 1)
		out = append(out, v)
	}
	return out
}

func (s *parquetSink) close() error {
	return guard(func() error {
		if err := s.endGroup(); err != nil {
			return err
		}
		return s.w.Close()
	})
}
