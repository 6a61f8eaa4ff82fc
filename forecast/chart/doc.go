// Package chart draws the season of a river, its water and its flow as SVG.
//
// Dates, shares, temperatures and flows enter; pictures leave, whole ones with
// their style in them, or parts for a page that brings the style itself (Style)
// and forbids it inside. It must not compute any science, and nothing in it is
// shown by colour alone.
package chart
