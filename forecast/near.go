package forecast

import "encoding/binary"

// nearBlock is how many numbers stand behind one that is written whole. Our own: with
// eight a number takes nine eighths of a byte, and finding it four additions.
const nearBlock = 8

// nearSize is the bytes of a block: the first number takes two.
const nearSize = nearBlock + 1

// packNear packs numbers that change little from one to the next: of each block the first,
// then a byte for each difference. ok is false where a difference does not fit a byte.
func packNear(column []uint16) (out []byte, ok bool) {
	out = make([]byte, 0, nearLen(len(column)))
	for i, v := range column {
		if i%nearBlock == 0 {
			out = binary.LittleEndian.AppendUint16(out, v)
			continue
		}
		d := int(v) - int(column[i-1])
		if d != int(int8(d)) {
			return nil, false
		}
		out = append(out, byte(d))
	}
	return out, true
}

// nearLen is how many bytes n numbers take.
func nearLen(n int) int { return n + (n+nearBlock-1)/nearBlock }

// nearAt is the i-th of the numbers.
func nearAt(packed string, i int) uint16 {
	block := packed[i/nearBlock*nearSize:]
	v := int(block[0]) | int(block[1])<<8
	for k := range i % nearBlock {
		v += int(int8(block[2+k]))
	}
	return uint16(v) //nolint:gosec // it was one
}
