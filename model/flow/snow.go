package flow

// The snow of a basin by degree-days (the temperature-index method; Hock 2003,
// J. Hydrology 282, 104-115, cited from memory). The gauge lies lower than most of its
// snow, so the air of the gauge is taken down by a lapse, which is fitted.
const (
	snowBelowC  = 1.0 // all that falls is snow from here down: common practice, no source
	snowWidthC  = 2.0 // so many degrees warmer all of it is rain: common practice, no source
	coldDayPack = 4.0 // °C·d of melt that a cold day adds where no snowfall is known: our own default
	packPerMM   = 0.4 // °C·d of melt in a millimetre of snow water: a degree-day factor of 2.5 mm, our own default
)

// lapses are the differences, °C, that a fit tries between the air of the gauge and
// that of its snow.
var lapses = []float64{0, 3, 6, 9}

// A pack is the snow of a basin, in °C·d of melt that it holds.
type pack struct{ held float64 }

// day lets a day of air, °C, and of rain and snow, mm (NaN: unknown), pass and
// returns the melt in °C·d.
func (p *pack) day(airC, wetMM float64) (melt float64) {
	cold := min(max((snowBelowC+snowWidthC-airC)/snowWidthC, 0), 1)
	if unknown(wetMM) {
		p.held += cold * coldDayPack
	} else {
		p.held += cold * wetMM * packPerMM
	}
	melt = min(p.held, max(0, airC))
	p.held -= melt
	return melt
}
