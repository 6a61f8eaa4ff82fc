package export

import (
	"fmt"
	"io"
	"math"
	"time"

	"example.org/eclose/forecast"
	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// arrowSink writes the Arrow file format (also called Feather 2), one record
// batch per batch of rows. Text is plain, not dictionary-encoded: the format
// allows a file only one dictionary per column, and rows are streamed. Nothing is
// compressed: the Arrow library for JavaScript brings no codec, and whoever wants
// few bytes takes Parquet.
type arrowSink struct {
	w       *ipc.FileWriter
	columns []column
	build   *array.RecordBuilder
}

func newArrow(w io.Writer, t layout, m Meta) (sink, error) {
	fields := make([]arrow.Field, len(t.columns))
	for i, c := range t.columns {
		ty, nullable := arrowType(c.zero)
		if ty == nil {
			return nil, fmt.Errorf("column %s: values of type %T have no form in Arrow", c.name, c.zero)
		}
		meta := map[string]string{"long_name": c.long}
		if c.units != "" {
			meta["units"] = c.units
		}
		if c.standard != "" {
			meta["standard_name"] = c.standard
		}
		fields[i] = arrow.Field{Name: c.name, Type: ty, Nullable: nullable, Metadata: arrow.MetadataFrom(meta)}
	}
	var keys, values []string
	for _, a := range t.attributes(m) {
		keys, values = append(keys, a.name), append(values, a.value)
	}
	meta := arrow.NewMetadata(keys, values)
	sc := arrow.NewSchema(fields, &meta)
	fw, err := ipc.NewFileWriter(&position{w: w}, ipc.WithSchema(sc))
	if err != nil {
		return nil, err
	}
	return &arrowSink{fw, t.columns, array.NewRecordBuilder(memory.DefaultAllocator, sc)}, nil
}

// position tells the library where it stands; a pipe cannot seek, and the
// library only ever asks for the current position.
type position struct {
	w io.Writer
	n int64
}

func (p *position) Write(b []byte) (int, error) {
	n, err := p.w.Write(b)
	p.n += int64(n)
	return n, err
}

func (p *position) Seek(offset int64, whence int) (int64, error) {
	if offset != 0 || whence != io.SeekCurrent {
		return 0, fmt.Errorf("seeking in a stream to %d from %d", offset, whence)
	}
	return p.n, nil
}

func arrowType(p any) (ty arrow.DataType, nullable bool) {
	switch p.(type) {
	case *string:
		return arrow.BinaryTypes.String, false
	case *float64:
		return arrow.PrimitiveTypes.Float64, true
	case *int:
		return arrow.PrimitiveTypes.Int64, false
	case *bool:
		return arrow.FixedWidthTypes.Boolean, false
	case *forecast.Date:
		return arrow.FixedWidthTypes.Date32, true
	case *time.Time:
		return &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"}, true
	}
	return nil, false
}

func (s *arrowSink) write(rows int) error {
	return guard(func() error {
		for k, c := range s.columns {
			b := s.build.Field(k)
			for i := range rows {
				appendArrow(b, c.at(i))
			}
		}
		rec := s.build.NewRecord()
		defer rec.Release()
		return s.w.Write(rec)
	})
}

func appendArrow(b array.Builder, p any) {
	switch v := p.(type) {
	case *string:
		b.(*array.StringBuilder).Append(*v)
	case *int:
		b.(*array.Int64Builder).Append(int64(*v))
	case *bool:
		b.(*array.BooleanBuilder).Append(*v)
	case *float64:
		if math.IsNaN(*v) {
			b.AppendNull()
			return
		}
		b.(*array.Float64Builder).Append(*v)
	case *forecast.Date:
		if *v == 0 {
			b.AppendNull()
			return
		}
		b.(*array.Date32Builder).Append(arrow.Date32(*v))
	case *time.Time:
		if v.IsZero() {
			b.AppendNull()
			return
		}
		b.(*array.TimestampBuilder).Append(arrow.Timestamp(v.UnixMicro()))
	}
}

func (s *arrowSink) close() error {
	s.build.Release()
	return guard(s.w.Close)
}
