// Package chart draws the season of a river and its water as SVG, and the same
// for mail as PNG.
//
// Dates, shares and temperatures enter; bytes of a picture leave, with a title
// and a description for those who cannot see it. It must not compute any
// science, and it never says by colour alone what it has to say.
package chart
