// Package observedproperty knows what the open standards' feeds call our
// variables: WaterML 2.0 and SensorThings name an observed property by an
// address or a word that each agency chooses.
//
// Words and addresses enter; one of our variables, or none, leaves. It must
// not know units or any one agency.
package observedproperty
