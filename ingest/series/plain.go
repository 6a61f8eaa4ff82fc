package series

import (
	"encoding/binary"
	"math"
)

// What follows reads n values in Parquet's encoding PLAIN.

// enough says whether n values of so many bytes are there.
func enough(data []byte, n, size int) error {
	if n < 0 || n > len(data)/size {
		return errShort
	}
	return nil
}

func plainInts(data []byte, n int) ([]int64, error) {
	if err := enough(data, n, 8); err != nil {
		return nil, err
	}
	out := make([]int64, n)
	for i := range out {
		out[i] = int64(binary.LittleEndian.Uint64(data[8*i:]))
	}
	return out, nil
}

func plainFloats(data []byte, n int) ([]float64, error) {
	if err := enough(data, n, 8); err != nil {
		return nil, err
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Float64frombits(binary.LittleEndian.Uint64(data[8*i:]))
	}
	return out, nil
}

func plainSmall[T ~uint8 | ~int32](data []byte, n int) ([]T, error) {
	if err := enough(data, n, 4); err != nil {
		return nil, err
	}
	out := make([]T, n)
	for i := range out {
		out[i] = T(binary.LittleEndian.Uint32(data[4*i:]))
	}
	return out, nil
}

func plainTexts(data []byte, n int) ([]string, error) {
	if err := enough(data, n, 4); err != nil {
		return nil, err
	}
	out := make([]string, n)
	for i := range out {
		if len(data) < 4 {
			return nil, errShort
		}
		size := uint64(binary.LittleEndian.Uint32(data))
		data = data[4:]
		if size > uint64(len(data)) {
			return nil, errShort
		}
		out[i], data = string(data[:size]), data[size:]
	}
	return out, nil
}
