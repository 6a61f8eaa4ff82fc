// Package usgslegacy reads files that were saved from the USGS legacy services:
// WaterML-JSON, WaterML 1.1 XML and RDB.
//
// A saved file enters, whatever of the three it is; series in SI units and UTC
// leave, or descriptions of sites and day-of-year statistics. It must not ask
// the live legacy services, which are switched off on 22 February 2027.
package usgslegacy
