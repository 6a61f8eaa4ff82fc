// Command eclose forecasts, per river and per insect group, when the adults
// emerge and when the egg-layers return.
//
// Command lines and a TOML file enter; tables, files, pages and mails leave.
// It wires the packages together and must not hold any science of its own: every
// command is one file here, and its rules live in the package it calls.
package main
