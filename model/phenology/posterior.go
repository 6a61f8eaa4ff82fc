package phenology

// Watched are the watches of one taxon in a season, and what is usual of it.
type Watched struct {
	Taxon    int     // index into the taxa of the joint model
	Thermal  float64 // departure of its thermal date, days
	Curve    UsualCurve
	Eggs     UsualCurve // of egg-laying, its middle EggsDays after that of emergence
	EggsDays float64
	Numbers  Numbers
	Watches  []Watch
}

// misdated is how far the curve of one season strays from the usual, as an error
// of the date worked out from it, days².
const misdated = 9.0

// Read is what the watches of a taxon tell of its season beside the forecast, and
// what they tell of the others': false if that is too little.
func (s *SeasonForecast) Read(w Watched) (Seen, Evidence, bool) {
	d := s.Taxon(w.Taxon)
	seen := w.seen(d)
	e, ok := d.EvidenceOf(w.Taxon, w.Thermal, seen.DOY, seen.DOYVariance+misdated)
	return seen, e, ok
}

// Own is the median date of a taxon after its own watches, d being that before
// them. The longer the season, the less the watches count. A small share of the
// forecast always stays, because watches may mislead.
func (s *SeasonForecast) Own(d MedianDate, w Watched) MedianDate {
	const (
		kept      = 0.05
		roughness = 4.5 // days²: a usual curve is not this season's
	)
	mean, variance := d.At(w.Thermal)
	seen := w.seen(d)
	e := 1 - (1-kept)*s.taxa[w.Taxon].Shared()
	m := (1-e)*seen.DOY + e*mean
	v := (1-e)*(seen.DOYVariance+(seen.DOY-m)*(seen.DOY-m)) + e*(variance+(mean-m)*(mean-m)) + roughness
	return d.Updated(w.Thermal, m, v)
}

func (w *Watched) seen(d MedianDate) Seen {
	mean, variance := d.At(w.Thermal)
	return seenIn(w.Curve, w.Eggs, w.EggsDays, w.Numbers, w.Watches, mean, variance)
}
