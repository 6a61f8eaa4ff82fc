// Package waterml2 reads documents of the open standard OGC WaterML 2.0 Part 1
// (OGC 10-126r4), alone or inside an answer of a Sensor Observation Service.
//
// One saved document enters; series in SI units and UTC leave. It must not
// know any one agency, nor fetch: a server that speaks the standard is named
// by the user, who saves its answer.
package waterml2
