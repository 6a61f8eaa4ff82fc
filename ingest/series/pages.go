package series

import (
	"encoding/binary"
	"math"
	"math/bits"
	"slices"
	"sync"

	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/metadata"
	"github.com/klauspost/compress/zstd"
)

// page is one column of a row group as its bytes in Parquet, not compressed.
type page struct {
	dictionary []byte // of the encoding RLE_DICTIONARY
	entries    int    // in the dictionary
	data       []byte
	encoding   parquet.Encoding
	stats      metadata.EncodedStatistics
}

// pages makes pages, each in memory that the next one uses again.
type pages struct {
	codes   []uint32
	present []uint64
	dict    []byte
	data    []byte
	packed  []byte
}

var pagePool = sync.Pool{New: func() any { return new(pages) }}

// packer compresses the pages of all files: to set up a compressor costs more than a
// page. It keeps memory for two pages at a time and for as far back as a page reaches.
var packer = sync.OnceValue(func() *zstd.Encoder {
	w, _ := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(2), zstd.WithWindowSize(8*rowGroupRows),
		zstd.WithZeroFrames(true)) // no option of these can fail
	return w
})

// stamps are times, delta-encoded.
func (p *pages) stamps(col []int64) page {
	p.data = appendDelta(p.data[:0], col)
	return page{data: p.data, encoding: parquet.Encodings.DeltaBinaryPacked}
}

// bounded are stamps with their least and greatest, for readers that skip by them.
func (p *pages) bounded(col []int64) page {
	out := p.stamps(col)
	out.stats.Signed = true
	out.stats.SetMin(binary.LittleEndian.AppendUint64(nil, uint64(slices.Min(col)))).
		SetMax(binary.LittleEndian.AppendUint64(nil, uint64(slices.Max(col)))).SetNullCount(0)
	return out
}

// values stores NaN as null, so that other tools leave missing readings out of their
// means. A sensor reports few distinct values: they go through a dictionary.
func (p *pages) values(col []float64) page {
	p.codes, p.present = p.codes[:0], p.present[:0]
	for _, v := range col {
		defined := uint32(1)
		if math.IsNaN(v) {
			defined = 0
		} else {
			p.present = append(p.present, math.Float64bits(v))
		}
		p.codes = append(p.codes, defined)
	}
	p.data = appendRuns(append(p.data[:0], 0, 0, 0, 0), p.codes, 1)
	binary.LittleEndian.PutUint32(p.data, uint32(len(p.data)-4))
	return coded(p, p.present, binary.LittleEndian.AppendUint64)
}

func (p *pages) texts(col []string) page {
	p.data = p.data[:0]
	return coded(p, col, func(b []byte, s string) []byte {
		return append(binary.LittleEndian.AppendUint32(b, uint32(len(s))), s...)
	})
}

func small[T ~uint8 | ~int32](p *pages, col []T) page {
	p.data = p.data[:0]
	return coded(p, col, func(b []byte, x T) []byte { return binary.LittleEndian.AppendUint32(b, uint32(x)) })
}

// coded appends the values of a column to p.data as indices into a dictionary.
func coded[T comparable](p *pages, col []T, write func([]byte, T) []byte) page {
	p.codes, p.dict = slices.Grow(p.codes[:0], len(col)), p.dict[:0]
	known := map[T]uint32{}
	var last T
	code := uint32(0)
	for i, x := range col {
		if i == 0 || x != last {
			var ok bool
			if code, ok = known[x]; !ok {
				code = uint32(len(known))
				known[x] = code
				p.dict = write(p.dict, x)
			}
			last = x
		}
		p.codes = append(p.codes, code)
	}
	width := max(1, bits.Len(uint(max(len(known), 1)-1)))
	p.data = appendRuns(append(p.data, byte(width)), p.codes, width)
	return page{dictionary: p.dict, entries: len(known), data: p.data, encoding: parquet.Encodings.RLEDict}
}
