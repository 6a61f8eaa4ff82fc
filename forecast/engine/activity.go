package engine

// shares holds the share of the season of every member on every day, for the
// spread of activity over members. It is filled only when River.Activity asks.
type shares struct {
	members int
	v       []float64 // [day*members+m]
	row     []float64
}

func (s *shares) begin(members, days int) {
	s.members = members
	s.v = grow(s.v, members*days)
	clear(s.v)
	s.row = grow(s.row, members)
}

// put takes a member's running sum from day first on.
func (s *shares) put(m, first int, sum []float64) {
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
	k10, k50, k90 := (n+9)/10-1, (5*n+9)/10-1, (9*n+9)/10-1
	for d := range to[0] {
		row := s.row[:0]
		for _, x := range s.v[d*n : (d+1)*n] {
			if x > 0 {
				row = append(row, x)
			}
		}
		none := n - len(row) // members without anything
		to[0][d], to[1][d], to[2][d] = 0, 0, 0
		if k90 >= none {
			to[2][d] = nth(row, k90-none)
			row = row[:k90-none+1]
		}
		if k50 >= none {
			to[1][d] = nth(row, k50-none)
			row = row[:k50-none+1]
		}
		if k10 >= none {
			to[0][d] = nth(row, k10-none)
		}
	}
}

func (s *shares) means(to []float64) {
	n := s.members
	for d := range to {
		var sum float64
		for _, x := range s.v[d*n : (d+1)*n] {
			sum += x
		}
		to[d] = sum / float64(n)
	}
}

// nth puts the k-th smallest value at x[k], smaller ones before and larger ones
// after it, and returns it (Hoare's selection).
func nth(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for lo < hi {
		pivot := x[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}
