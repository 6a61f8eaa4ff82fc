"""Reads a Darwin Core archive by the Darwin Core text guide
(http://rs.tdwg.org/dwc/terms/guides/text/), with nothing but Python's own
libraries, and prints its occurrences joined with their events as JSON. Anything
that the guide or the terms' own definitions forbid is an error.

Usage: read.py ARCHIVE
"""

import csv
import datetime
import io
import json
import re
import sys
import xml.etree.ElementTree as ET
import zipfile

TEXT = "{http://rs.tdwg.org/dwc/text/}"
TERMS = "http://rs.tdwg.org/dwc/terms/"
# The recommended values of basisOfRecord and the two of occurrenceStatus.
BASIS = {"PreservedSpecimen", "FossilSpecimen", "LivingSpecimen", "MaterialSample", "Event",
         "HumanObservation", "MachineObservation", "Taxon", "Occurrence", "MaterialCitation"}
STATUS = {"present", "absent"}


def need(ok, what):
    if not ok:
        sys.exit("not a valid archive: " + what)


def unescape(text):
    return text.replace("\\t", "\t").replace("\\n", "\n").replace("\\r", "\r")


def rows(archive, element):
    """The rows of one file, by the attributes that the guide names, with its defaults."""
    location = element.find(TEXT + "files").find(TEXT + "location").text
    need(location in archive.namelist(), "no file " + location)
    text = archive.read(location).decode(element.get("encoding", "UTF-8"))
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=unescape(element.get("fieldsTerminatedBy", ",")),
                       quotechar=element.get("fieldsEnclosedBy", '"') or None,
                       quoting=csv.QUOTE_MINIMAL if element.get("fieldsEnclosedBy", '"') else csv.QUOTE_NONE)
    need(unescape(element.get("linesTerminatedBy", "\n")) == "\n", "lines end otherwise than they say")
    lines = list(lines)
    head = lines[:int(element.get("ignoreHeaderLines", "0"))]
    key = element.find(TEXT + "id")
    key = int((element.find(TEXT + "coreid") if key is None else key).get("index"))
    terms = {}
    for field in element.findall(TEXT + "field"):
        need(field.get("term") not in terms, "the term %s twice" % field.get("term"))
        terms[field.get("term")] = int(field.get("index"))
        if head:
            need(head[0][int(field.get("index"))] == field.get("term").rsplit("/", 1)[1], "the header and meta.xml differ")
    width = max(list(terms.values()) + [key]) + 1
    for number, line in enumerate(lines[len(head):], len(head) + 1):
        need(len(line) == width, "%s, line %d: %d fields of %d" % (location, number, len(line), width))
        yield line[key], {term.rsplit("/", 1)[1]: line[index] for term, index in terms.items()}


def check_event(row):
    for part in filter(None, row["eventDate"].split("/")):
        datetime.date.fromisoformat(part)
    need(row["eventDate"] or row["startDayOfYear"], "an event without a date or days of the year")
    for term in ("startDayOfYear", "endDayOfYear"):
        need(not row[term] or 1 <= int(row[term]) <= 366, term)
    if row["decimalLatitude"]:
        need(-90 <= float(row["decimalLatitude"]) <= 90 and -180 <= float(row["decimalLongitude"]) <= 180, "coordinates")
        need(row["geodeticDatum"], "coordinates without a datum")
    need(bool(row["sampleSizeValue"]) == bool(row["sampleSizeUnit"]), "a sample size without its unit")
    need(re.match("https?://", row["license"]), "a licence that is no address")


def check_occurrence(row):
    need(row["basisOfRecord"] in BASIS, "basisOfRecord " + row["basisOfRecord"])
    need(row["occurrenceStatus"] in STATUS, "occurrenceStatus " + row["occurrenceStatus"])
    need(row["scientificName"], "an occurrence without a name")
    need(bool(row["organismQuantity"]) == bool(row["organismQuantityType"]), "a quantity without its type")
    need(row["occurrenceStatus"] == "present" or row["individualCount"] in ("", "0"), "animals counted where none was")


def main():
    archive = zipfile.ZipFile(sys.argv[1])
    need(archive.testzip() is None, "a damaged zip")
    meta = ET.fromstring(archive.read("meta.xml"))
    need(meta.tag == TEXT + "archive", "meta.xml begins with " + meta.tag)
    dataset = ET.fromstring(archive.read(meta.get("metadata"))).find("dataset")
    for name in ("title", "creator", "metadataProvider", "pubDate", "language", "abstract", "intellectualRights", "contact"):
        need(dataset.find(name) is not None, "the description has no " + name)
    core, extensions = meta.findall(TEXT + "core"), meta.findall(TEXT + "extension")
    need(len(core) == 1 and core[0].get("rowType") == TERMS + "Event", "the core is no table of events")
    need([x.get("rowType") for x in extensions] == [TERMS + "Occurrence"], "the extension is no table of occurrences")
    events = {}
    for key, row in rows(archive, core[0]):
        need(key and key not in events and key == row["eventID"], "event %s twice or without an identifier" % key)
        check_event(row)
        events[key] = row
    out, seen = [], set()
    for key, row in rows(archive, extensions[0]):
        need(key in events, "an occurrence of the unknown event " + key)
        need(row["occurrenceID"] and row["occurrenceID"] not in seen, "occurrence %s twice" % row["occurrenceID"])
        seen.add(row["occurrenceID"])
        check_occurrence(row)
        out.append({**events[key], **row})
    json.dump({"title": dataset.find("title").text, "events": len(events), "occurrences": out}, sys.stdout)


main()
