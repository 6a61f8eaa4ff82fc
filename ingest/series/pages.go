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

	"example.org/eclose/ingest"
)

// page is one column of a row group as its bytes in Parquet, not compressed.
type page struct {
	dictionary []byte // nil: it has none
	entries    int    // of the dictionary
	data       []byte
	encoding   parquet.Encoding
	stats      metadata.EncodedStatistics
}

// pages makes pages in memory that the next page uses again.
type pages struct {
	codes   []uint32
	present []uint64
	dict    []byte
	data    []byte
	packed  []byte
}

var pool = sync.Pool{New: func() any { return new(pages) }}

// packer compresses all pages: to set up a compressor costs more than a page.
var packer = sync.OnceValue(func() *zstd.Encoder {
	w, _ := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithZeroFrames(true), zstd.WithEncoderCRC(false)) // no option of these can fail
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

func (p *pages) approvals(col []ingest.Approval) page { return small(p, col) }
func (p *pages) flags(col []ingest.Flag) page         { return small(p, col) }
func (p *pages) member(col []int32) page              { return small(p, col) }

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

// appendRuns appends codes in Parquet's hybrid of runs and packed bits.
func appendRuns(out []byte, codes []uint32, width int) []byte {
	const shortest = 8 // repetitions that make a run; packed bits come in groups of as many
	start := 0         // of the codes that are not in a run
	for i := 0; i < len(codes); {
		j := i + 1
		for j < len(codes) && codes[j] == codes[i] {
			j++
		}
		if from := i + (start-i)&(shortest-1); j-from >= shortest {
			out = appendLiterals(out, codes[start:from], width)
			out = binary.AppendUvarint(out, uint64(j-from)<<1)
			for b := 0; b < width; b += 8 {
				out = append(out, byte(codes[i]>>b))
			}
			start = j
		}
		i = j
	}
	return appendLiterals(out, codes[start:], width)
}

func appendLiterals(out []byte, codes []uint32, width int) []byte {
	if len(codes) == 0 {
		return out
	}
	groups := (len(codes) + 7) / 8
	out = binary.AppendUvarint(out, uint64(groups)<<1|1)
	end := len(out) + groups*width
	out = appendPacked(out, codes, width)
	return append(out, make([]byte, end-len(out))...)
}

// appendPacked appends the low width bits of each number, the lowest bit first.
func appendPacked[T uint32 | uint64](out []byte, numbers []T, width int) []byte {
	var held uint64 // bits not yet written
	n := 0          // how many
	for _, x := range numbers {
		held |= uint64(x) << n
		if n += width; n >= 64 {
			out = binary.LittleEndian.AppendUint64(out, held)
			n -= 64
			held = uint64(x) >> (width - n)
		}
	}
	for ; n > 0; n -= 8 {
		out = append(out, byte(held))
		held >>= 8
	}
	return out
}

const (
	deltaBlock = 128
	deltaMini  = 32
)

// appendDelta appends numbers in Parquet's DELTA_BINARY_PACKED.
func appendDelta(out []byte, col []int64) []byte {
	out = binary.AppendUvarint(out, deltaBlock)
	out = binary.AppendUvarint(out, deltaBlock/deltaMini)
	out = binary.AppendUvarint(out, uint64(len(col)))
	if len(col) == 0 {
		return append(out, 0)
	}
	out = binary.AppendVarint(out, col[0])
	var deltas [deltaBlock]int64
	var above [deltaBlock]uint64
	for at := 1; at < len(col); at += deltaBlock {
		n := min(deltaBlock, len(col)-at)
		least := int64(math.MaxInt64)
		for i := range n {
			deltas[i] = col[at+i] - col[at+i-1] // may wrap, and wraps back when it is added
			least = min(least, deltas[i])
		}
		out = binary.AppendVarint(out, least)
		widths := len(out)
		out = append(out, make([]byte, deltaBlock/deltaMini)...)
		for a := 0; a < n; a += deltaMini {
			b := min(a+deltaMini, n)
			all := uint64(0)
			for i := a; i < b; i++ {
				above[i] = uint64(deltas[i] - least)
				all |= above[i]
			}
			clear(above[b : a+deltaMini])
			width := bits.Len64(all)
			out[widths+a/deltaMini] = byte(width)
			out = appendPacked(out, above[a:a+deltaMini], width)
		}
	}
	return out
}
