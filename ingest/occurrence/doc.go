// Package occurrence holds dated records of organisms as open sources publish
// them, and reads and writes them as Darwin Core, a ratified standard of TDWG:
// a CSV, a tab-separated GBIF download, or an archive with meta.xml.
//
// Files enter; records leave, each with its dates, place, life stage, effort,
// licence and credit. It must not know any insect: which records are of use,
// and what a name means, is judged elsewhere.
package occurrence
