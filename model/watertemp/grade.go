package watertemp

// ModelGrade says what stands behind a model of a reach.
type ModelGrade string

// The grades, the best first.
const (
	Fitted         ModelGrade = "fitted"
	FittedShort    ModelGrade = "fitted-short"    // to less than a year of readings
	PriorCorrected ModelGrade = "prior-corrected" // by readings too few for a fit
	PriorNearby    ModelGrade = "prior-nearby"    // adjusted to a donor
	PriorAlone     ModelGrade = "prior"
)

// Words is the grade as printed to people.
func (g ModelGrade) Words() string {
	switch g {
	case Fitted:
		return "model fitted here"
	case FittedShort:
		return "model fitted here, less than a year of readings"
	case PriorCorrected:
		return "prior corrected by few readings, too few for a fit"
	case PriorNearby:
		return "prior adjusted to a nearby river, no thermometer here"
	case PriorAlone:
		return "prior, no thermometer here"
	}
	return string(g)
}
