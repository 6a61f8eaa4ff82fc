package series

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
)

// The blocks that we write; others are read as well.
const (
	deltaBlock = 128
	deltaMini  = 32 // numbers of a block that share a width
)

// appendDelta appends numbers in Parquet's encoding DELTA_BINARY_PACKED.
func appendDelta(out []byte, col []int64) []byte {
	out = binary.AppendUvarint(out, deltaBlock)
	out = binary.AppendUvarint(out, deltaBlock/deltaMini)
	out = binary.AppendUvarint(out, uint64(len(col)))
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
			all := uint64(0)
			for i := a; i < min(a+deltaMini, n); i++ {
				above[i] = uint64(deltas[i] - least)
				all |= above[i]
			}
			clear(above[min(a+deltaMini, n) : a+deltaMini])
			width := bits.Len64(all)
			out[widths+a/deltaMini] = byte(width)
			out = appendPacked(out, above[a:a+deltaMini], width)
		}
	}
	return out
}

// deltas fills rows from what appendDelta wrote.
func (u *unpacker) deltas(data []byte, rows []int64) error {
	var head [3]uint64
	for i := range head {
		x, k := binary.Uvarint(data)
		if k <= 0 {
			return errShort
		}
		head[i], data = x, data[k:]
	}
	block, minis, all := head[0], head[1], head[2]
	if block == 0 || block > 1<<16 || minis == 0 || block%(8*minis) != 0 || all != uint64(len(rows)) {
		return fmt.Errorf("%d delta-encoded numbers in blocks of %d in %d parts", all, block, minis)
	}
	last, k := binary.Varint(data)
	if k <= 0 {
		return errShort
	}
	rows[0], rows, data = last, rows[1:], data[k:]
	for len(rows) > 0 {
		least, k := binary.Varint(data)
		if k <= 0 || len(data)-k < int(minis) {
			return errShort
		}
		widths := data[k : k+int(minis)]
		data = data[k+int(minis):]
		for _, width := range widths {
			n := min(int(block/minis), len(rows))
			size := int(block/minis) / 8 * int(width)
			if n == 0 {
				break
			}
			if width > 64 || size > len(data) {
				return errShort
			}
			unpackBits(u.padded(data[:size]), int(width), rows[:n])
			for i, above := range rows[:n] {
				last += least + above
				rows[i] = last
			}
			data, rows = data[size:], rows[n:]
		}
	}
	return nil
}
