// Package waterml2 reads documents of the open standard OGC WaterML 2.0 Part 1
// (OGC 10-126r4), alone or inside an answer of a Sensor Observation Service.
//
// One saved document enters, or a site and a span of time for a server whose
// request the user writes down; series in SI units and UTC leave. It must not
// know any one agency, and no site leads it to another host.
package waterml2
