package engine

import "example.org/eclose/model/elementary"

// shares holds the share of the season of every member on every day, for the
// spread of activity over members. It is filled only when River.Activity asks.
type shares struct {
	members     int
	v           []float64 // [day*members+m]
	first, last int       // days outside of which all of v is 0
	row         []float64

	parted []float64     // values of a day, bin by bin
	ends   [bins + 1]int // where the bins end, after a leading 0
}

// begin empties s: after a use of the same shape, only where it was filled.
func (s *shares) begin(members, days int) {
	if members == s.members && len(s.v) == members*days {
		clear(s.v[s.first*members : max(s.first, s.last)*members])
	} else {
		s.members, s.v, s.row = members, grow(s.v, members*days), grow(s.row, members)
		clear(s.v)
	}
	s.first, s.last = days, 0
}

// put takes a member's running sum from day first on.
func (s *shares) put(m, first int, sum []float64) {
	s.first, s.last = min(s.first, first), max(s.last, first+len(sum))
	prev := 0.0
	for i, x := range sum {
		s.v[(first+i)*s.members+m] = x - prev
		prev = x
	}
}

// points fills the 10, 50 and 90 % points over members of each day (the k-th
// smallest with k = members p rounded up). Most members have nothing on most
// days, so only the shares above 0 are looked through.
func (s *shares) points(to *[3][]float64) {
	n := s.members
	k := [3]int{(n+9)/10 - 1, (5*n+9)/10 - 1, (9*n+9)/10 - 1}
	for i := range to {
		clear(to[i])
	}
	for d := s.first; d < s.last; d++ {
		row := s.row[:0]
		for _, x := range s.v[d*n : (d+1)*n] {
			if x > 0 {
				row = append(row, x)
			}
		}
		none := n - len(row) // members without anything
		if k[2] < none {
			continue
		}
		s.part(row)
		for i := range to {
			if k[i] >= none {
				to[i][d] = s.ranked(k[i] - none)
			}
		}
	}
}

// bins is into how many parts of equal width the values of a day are sorted
// before one of them is looked through.
const bins = 64

// part sorts values above 0 into bins of equal width, by counting.
func (s *shares) part(row []float64) {
	top := 0.0
	for _, x := range row {
		if x > top {
			top = x
		}
	}
	scale := bins / top
	s.ends = [bins + 1]int{}
	for _, x := range row {
		s.ends[bin(x*scale)+1]++
	}
	for b := range bins {
		s.ends[b+1] += s.ends[b]
	}
	next := s.ends
	s.parted = grow(s.parted, len(row))
	for _, x := range row {
		b := bin(x * scale)
		s.parted[next[b]] = x
		next[b]++
	}
}

// bin rises with x, also where the scale overflowed: then all are in the last.
func bin(x float64) int {
	if !(x < bins) {
		return bins - 1
	}
	return int(x)
}

// ranked is the k-th smallest of the values parted last.
func (s *shares) ranked(k int) float64 {
	b := 0
	for s.ends[b+1] <= k {
		b++
	}
	return elementary.KthSmallest(s.parted[s.ends[b]:s.ends[b+1]], k-s.ends[b])
}

func (s *shares) means(to []float64) {
	n := s.members
	clear(to)
	for d := s.first; d < s.last; d++ {
		var sum float64
		for _, x := range s.v[d*n : (d+1)*n] {
			sum += x
		}
		to[d] = sum / float64(n)
	}
}
