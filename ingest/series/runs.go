package series

import (
	"encoding/binary"
	"fmt"
	"math"
)

// appendRuns appends codes in Parquet's encoding RLE: runs of one code, and between
// them groups of eight codes bit by bit.
func appendRuns(out []byte, codes []uint32, width int) []byte {
	const group = 8
	start := 0 // of the codes that are not yet written
	for i := 0; i < len(codes); {
		j := i + 1
		for j < len(codes) && codes[j] == codes[i] {
			j++
		}
		// What precedes a run must fill its groups: the run lends what is lacking.
		if from := i + (start-i)&(group-1); j-from >= group {
			out = appendGroups(out, codes[start:from], width)
			out = binary.AppendUvarint(out, uint64(j-from)<<1)
			for b := 0; b < width; b += 8 {
				out = append(out, byte(codes[i]>>b))
			}
			start = j
		}
		i = j
	}
	return appendGroups(out, codes[start:], width)
}

func appendGroups(out []byte, codes []uint32, width int) []byte {
	if len(codes) == 0 {
		return out
	}
	groups := (len(codes) + 7) / 8
	out = binary.AppendUvarint(out, uint64(groups)<<1|1)
	end := len(out) + groups*width
	out = appendPacked(out, codes, width)
	return append(out, make([]byte, end-len(out))...)
}

// runs fills codes from what appendRuns wrote.
func (u *unpacker) runs(data []byte, width int, codes []uint32) error {
	if width > 32 {
		return fmt.Errorf("codes of %d bits", width)
	}
	for len(codes) > 0 {
		head, k := binary.Uvarint(data)
		if k <= 0 {
			return errShort
		}
		data = data[k:]
		count := head >> 1
		if count == 0 || head > math.MaxUint32 {
			return fmt.Errorf("a run of %d", count)
		}
		if head&1 == 1 {
			n := int(min(count*8, uint64(len(codes))))
			size := int(min(count*uint64(width), uint64(len(data))))
			if size < (n*width+7)/8 {
				return errShort
			}
			unpackBits(u.padded(data[:size]), width, codes[:n])
			data, codes = data[size:], codes[n:]
			continue
		}
		size := (width + 7) / 8
		if size > len(data) {
			return errShort
		}
		code := uint32(0)
		for b, x := range data[:size] {
			code |= uint32(x) << (8 * b)
		}
		n := int(min(count, uint64(len(codes))))
		for i := range n {
			codes[i] = code
		}
		data, codes = data[size:], codes[n:]
	}
	return nil
}
