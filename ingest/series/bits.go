package series

import (
	"encoding/binary"
	"math"
)

// appendPacked appends the low width bits of each number, the lowest bit first.
func appendPacked[T uint32 | uint64](out []byte, numbers []T, width int) []byte {
	var held uint64 // bits not yet written
	n := 0          // how many they are
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

// overhang is how many bytes unpackBits looks at from the first of a number on.
const overhang = 9

// padded copies packed numbers to memory that goes on far enough for unpackBits.
func (u *unpacker) padded(data []byte) []byte {
	u.bytes = append(u.bytes[:0], data...)
	u.bytes = append(u.bytes, make([]byte, overhang)...)
	return u.bytes
}

// unpackBits reads numbers of width bits, at most 64, from padded bytes.
func unpackBits[T uint32 | int64](padded []byte, width int, numbers []T) {
	mask := uint64(math.MaxUint64)
	if width < 64 {
		mask = 1<<width - 1
	}
	for i := range numbers {
		at := i * width
		word := padded[at>>3 : at>>3+overhang]
		x := binary.LittleEndian.Uint64(word) >> (at & 7)
		if width > 56 {
			x |= uint64(word[8]) << (64 - at&7)
		}
		numbers[i] = T(x & mask)
	}
}
