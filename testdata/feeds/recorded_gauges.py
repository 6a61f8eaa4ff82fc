#!/usr/bin/env python3
"""Expected figures of the recorded answers of gauges outside the USA, computed apart from our parsers.

Python standard library only; no code of this project is used. Run from the
root of the repository:

    python3 testdata/feeds/recorded_gauges.py ../shared/feeds > testdata/feeds/recorded-gauges.csv
"""
import csv, glob, json, os, re, sys
import xml.etree.ElementTree as ET
from datetime import datetime, timedelta, timezone
from fractions import Fraction as F
from zoneinfo import ZoneInfo

from recorded_table import Table

ROOT = sys.argv[1]
table = Table(ROOT)
UTC = timezone.utc
FOOT3 = F(3048, 10000) ** 3


def files(pattern):
    return sorted(glob.glob(os.path.join(ROOT, pattern)))


def put(series, key, when, value, quals=(), approved=False):
    series.setdefault(key, {})[when] = (value, list(quals), approved)


# --- Environment Agency

MEASURE = re.compile(r"(.+?)-(flow|level|rainfall|temperature)-(.*?)-?(i|t|m|max|min)-(\w+?)-([A-Za-z0-9_-]+?)(-qualified)?$")


def ea_key(address):
    """name of the series and whether the value is of a day; None if the house does not take it"""
    name = address.split("/")[-1]
    m = MEASURE.match(name)
    site, what, place, stat, span, unit = m.group(1, 2, 3, 4, 5, 6)
    if place == "groundwater" or unit.startswith("---") or (what == "temperature" and place != "dry_bulb"):
        return None
    variable = {"flow": "discharge", "level": "gauge_height", "rainfall": "precipitation", "temperature": "air_temperature"}[what]
    stat = {"i": "instant", "t": "sum", "m": "mean", "max": "max", "min": "min"}[stat]
    period = {"86400": "P1D", "900": "PT15M", "15_min": "PT15M", "1_h": "PT1H"}[span]
    return "/".join(["ea", site, variable, stat] + ([period] if stat != "instant" else []) + (["ts=" + place] if place else [])), period == "P1D" and stat != "instant"


def when_ea(s):
    return datetime.fromisoformat(s.replace("Z", "")).replace(tzinfo=UTC)


def ea(path):
    series, left = {}, 0
    readings = []
    if path.endswith(".csv"):
        readings = [(r["measure"], r) for r in csv.DictReader(open(path))]
    else:
        items = json.load(open(path))["items"]
        for item in items if isinstance(items, list) else [items]:
            if "dateTime" in item:
                readings.append((item["measure"]["@id"], item))
            elif "measures" in item:
                ms = item["measures"]
                for m in ms if isinstance(ms, list) else [ms]:
                    if isinstance(m.get("latestReading"), dict):
                        readings.append((m["latestReading"].get("measure", m["@id"]), m["latestReading"]))
                    else:
                        left += 1
            else:
                left += 1
    for measure, r in readings:
        key = ea_key(measure if isinstance(measure, str) else measure["@id"])
        if key is None:
            left += 1
            continue
        key, day = key
        t = when_ea(r["date"] if day else r["dateTime"])
        v = r.get("value")
        quals = [w for w in (r.get("quality"), r.get("completeness")) if w and w != "Complete"]
        put(series, key, t, None if v in (None, "") else F(str(v).split("|")[-1]), quals, r.get("quality") == "Good")
    table.series(path, "ea", series, left=left)


for p in files("uk-ea-hydrology/*") + files("uk-ea-flood/*"):
    ea(p)


# --- Water Survey of Canada

def eccc(path):
    series, left = {}, 0
    if path.endswith(".json"):
        for f in json.load(open(path))["_default"].values():
            q = f["properties"]
            day = datetime.strptime(q["DATE"], "%Y-%m-%d").replace(tzinfo=UTC)
            for name, variable in (("LEVEL", "gauge_height"), ("FLOW", "discharge")):
                put(series, "eccc/%s/%s/mean/P1D" % (q["STATION_NUMBER"], variable), day, None if q[name] is None else F(repr(q[name])), [w for w in [q[name + "_SYMBOL_EN"]] if w])
    else:
        rows = list(csv.reader(open(path, encoding="utf-8-sig")))
        for r in rows[1:]:
            if len(rows[0]) == 6:
                left += 1
                continue
            t = datetime.fromisoformat(r[1]).astimezone(UTC)
            for variable, i in (("gauge_height", 2), ("discharge", 6)):
                put(series, "eccc/%s/%s/instant" % (r[0], variable), t, F(r[i]) if r[i] else None, [w for w in [r[i + 2]] if w], r[i + 3] == "4")
    table.series(path, "eccc", series, left=left)


for p in files("ca-eccc/*"):
    eccc(p)


# --- Switzerland: Swiss wall clock, whatever the label says

ZURICH = ZoneInfo("Europe/Zurich")
TYPES = {1: ("gauge_height", 1), 2: ("gauge_height", 1), 3: ("water_temperature", 1), 10: ("discharge", 1), 22: ("discharge", F(1, 1000))}


def swiss(path):
    series, left = {}, 0
    root = ET.parse(path).getroot()
    found = []
    for st in root.iter("station"):
        for q in st.findall("parameter"):
            if q.get("type"):
                variable, factor = TYPES[int(q.get("type"))]
                name = "%d-%d" % (int(q.get("type")), int(q.get("variant")))
            else:
                word = q.get("name").split()[0]
                variable, factor, name = {"Pegel": "gauge_height", "Abfluss": "discharge", "Wassertemperatur": "water_temperature"}[word], {"l/s": F(1, 1000)}.get(q.get("unit"), 1), q.get("field-name")
            t = datetime.strptime(q.findtext("datetime")[:19], "%Y-%m-%dT%H:%M:%S")
            found.append((st.get("number"), variable, name, None if t.year == 1900 else t, q.findtext("value") or "", factor))
    for site, variable, name, t, text, factor in found:
        if t is None:
            left += 1
            continue
        text = text.replace("'", "").strip()
        put(series, "bafu/%s/%s/instant/ts=%s" % (site, variable, name), t.replace(tzinfo=ZURICH).astimezone(UTC), F(text) * factor if text not in ("", "NaN") else None)
    table.series(path, "bafu", series, left=left)


for p in files("ch-bafu/*hydroweb*"):
    swiss(p)


# --- WaterML 2.0

W, OM, GML, X = "{http://www.opengis.net/waterml/2.0}", "{http://www.opengis.net/om/2.0}", "{http://www.opengis.net/gml/3.2}", "{http://www.w3.org/1999/xlink}"
for p in files("waterml2/*"):
    series, left = {}, 0
    root = ET.parse(p).getroot()
    for o in root.iter(OM + "OM_Observation"):
        prop = o.find(OM + "observedProperty").get(X + "href")
        variable = {"AirTemperature": "air_temperature", "air_temperature": "air_temperature", "sea_water_temperature": "water_temperature", "rdf?parmCd=00060": "discharge"}[prop.split("/")[-1]]
        place = o.find(OM + "featureOfInterest").get(X + "href") or root.findtext(GML + "identifier")
        sensor = o.find(OM + "procedure").get(X + "href")
        factor = FOOT3 if o.find(".//" + W + "uom").get(X + "title") == "ft3/s" else 1
        stat = "mean/P1D" if variable == "discharge" else "instant"
        key = "/".join(["waterml2", place.replace("http://", ""), variable, stat] + (["ts=" + sensor.replace("http://", "")] if sensor else []))
        for tvp in o.iter(W + "MeasurementTVP"):
            t = tvp.findtext(W + "time")
            if t is None:
                left += 1
                continue
            when = datetime.fromisoformat(t.replace("Z", "+00:00"))
            put(series, key, when.replace(tzinfo=UTC) if len(t) == 10 else when.astimezone(UTC), F(tvp.findtext(W + "value")) * factor)
    table.series(p, "waterml2", series, left=left)
