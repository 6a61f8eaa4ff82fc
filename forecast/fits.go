package forecast

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"sync"

	"example.org/eclose/model/flow"
	"example.org/eclose/model/watertemp"
)

// Fits keeps water models from one outlook to the next, since a fit takes
// longer than all the rest. A model is that of the days before the issue's
// month, so that it holds for the month (a young record is fitted to its last day); it is found by those days, so that a
// revised reading makes another. What is kept changes no byte of an outlook. A
// nil *Fits keeps nothing. It may be used by several goroutines at once.
type Fits struct {
	mu   sync.Mutex
	kept map[[sha256.Size]byte]watertemp.Model
	flow map[[sha256.Size]byte]*flow.Model
}

// fitsKept bounds the memory: a model takes 16 kB, so that all take 130 MB at most.
const fitsKept = 1 << 13

func (f *Fits) fit(in watertemp.Input, issue Date, donor *watertemp.Model) (watertemp.Model, error) {
	past := in.Until(int(firstOfMonth(issue)))
	if watertemp.Young(past) {
		return f.of(in, donor) // a young record needs each of its days
	}
	return f.of(past, donor)
}

func (f *Fits) of(in watertemp.Input, donor *watertemp.Model) (watertemp.Model, error) {
	if !watertemp.Young(in) {
		donor = nil // it has no say
	}
	fit := func() (watertemp.Model, error) {
		return watertemp.Fit(in, watertemp.Options{Seed: 1, Donor: donor})
	}
	if f == nil {
		return fit()
	}
	key := digest(in)
	if donor != nil {
		key = sha256.Sum256(fmt.Appendf(key[:], "%v", donor.Params))
	}
	f.mu.Lock()
	m, ok := f.kept[key]
	f.mu.Unlock()
	if ok {
		return m, nil
	}
	m, err := fit() // two that need the same one at once both make it
	if err != nil {
		return m, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.kept == nil || len(f.kept) >= fitsKept {
		f.kept = map[[sha256.Size]byte]watertemp.Model{}
	}
	f.kept[key] = m
	return m, nil
}

// fitFlow is fit for the flow model.
func (f *Fits) fitFlow(in flow.Input, issue Date) (*flow.Model, error) {
	m, err := f.flowOf(in.Until(int(firstOfMonth(issue))))
	if short := (*flow.TooLittleError)(nil); errors.As(err, &short) {
		return f.flowOf(in)
	}
	return m, err
}

func (f *Fits) flowOf(in flow.Input) (*flow.Model, error) {
	if f == nil {
		return flow.Fit(in)
	}
	key := digest(watertemp.Input{Day0: in.Day0, Air: in.Air, Water: in.Rain, Flow: in.Flow})
	f.mu.Lock()
	m, ok := f.flow[key]
	f.mu.Unlock()
	if ok {
		return m, nil
	}
	m, err := flow.Fit(in)
	if err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.flow == nil || len(f.flow) >= flowsKept {
		f.flow = map[[sha256.Size]byte]*flow.Model{}
	}
	f.flow[key] = m
	return m, nil
}

// flowsKept bounds the memory: ten years take half a megabyte, so that all take 130 MB.
const flowsKept = 1 << 8

func firstOfMonth(d Date) Date { return d - Date(d.Time().Day()-1) }

// digest names an input by every value in it.
func digest(in watertemp.Input) [sha256.Size]byte {
	b := make([]byte, 0, 8*(4+len(in.Air)+len(in.Water)+len(in.Flow)))
	for _, part := range [][]float64{in.Air, in.Water, in.Flow} {
		b = binary.LittleEndian.AppendUint64(b, uint64(len(part)))
		b, _ = binary.Append(b, binary.LittleEndian, part) // never fails on floats
	}
	b = binary.LittleEndian.AppendUint64(b, uint64(in.Day0))
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(in.DrainageKm2))
	return sha256.Sum256(b)
}
