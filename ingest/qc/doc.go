// Package qc flags the readings of a series by the real-time tests of the US
// IOOS QARTOD manuals, and by three tests of our own: a water sensor that
// hangs in the air, flow under ice, and a day whose minimum lies above its
// maximum.
//
// A series, and where they are known air and water beside it and the range of
// past seasons, enter; the same series with a flag (1 pass, 2 not evaluated, 3
// suspect, 4 fail, 9 missing) and the name of the test that set it leaves. It
// must not change, drop or fill a value, read a clock, or know what the
// readings are used for.
//
// Sources. US IOOS QARTOD, Manual for Real-Time Quality Control of In-situ
// Temperature and Salinity Data, version 2.0 (2016; 2.1, 2020), and Manual for
// Real-Time Quality Control of Water Level Data, version 2.1 (2021). Their
// tests on time series share one wording with the sister manuals for pH
// (2019) and for gliders (2016); the definitions and example thresholds named
// in this package were read in those two.
package qc
