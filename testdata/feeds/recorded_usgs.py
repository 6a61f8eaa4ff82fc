#!/usr/bin/env python3
"""Expected figures of the recorded USGS answers, computed apart from our parsers.

Python standard library only; no code of this project is used. Run from the
root of the repository:

    python3 testdata/feeds/recorded_usgs.py ../shared/feeds > testdata/feeds/recorded-usgs.csv

One line for each series; a file with more than 20 series is pooled by variable,
statistic and period. Then one line for what a parser must report as left out.
"""
import csv, glob, json, os, re, sys
import xml.etree.ElementTree as ET
from datetime import datetime, timedelta, timezone
from fractions import Fraction as F

ROOT = sys.argv[1]
FT = F(3048, 10000)
UNITS = {  # spelling -> function on Fractions
    "ft3/s": lambda x: x * FT**3, "ft^3/s": lambda x: x * FT**3, "cfs": lambda x: x * FT**3,
    "ft": lambda x: x * FT, "deg C": lambda x: x, "degC": lambda x: x, "in": lambda x: x * F(254, 10),
    "deg F": lambda x: (x - 32) * 5 / 9,
}
VARS = {"00010": "water_temperature", "00011": "water_temperature", "00020": "air_temperature", "00021": "air_temperature",
        "00045": "precipitation", "00060": "discharge", "00061": "discharge", "00065": "gauge_height"}
RDB_UNIT = {"00010": "deg C", "00011": "deg F", "00060": "ft3/s", "00065": "ft", "00045": "in"}
STATS = {"00001": "max", "00002": "min", "00003": "mean", "00006": "sum", "00008": "median", "00011": "instant", "00000": "instant", "": "instant", None: "instant"}
ZONES = {"EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7}

out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow("file feed option series count missing first last min max qualifiers approved".split())


def utc(s):
    if re.fullmatch(r"\d{4}-\d\d-\d\d(T00:00:00(\.000)?)?", s):
        return datetime.strptime(s[:10], "%Y-%m-%d").replace(tzinfo=timezone.utc), True
    return datetime.fromisoformat(s).astimezone(timezone.utc), False


def codes(words):
    quals, appr = [], ""
    for w in words:
        if w in ("A", "P"):
            appr = w
        elif w in ("Ae", "Pe"):
            appr = w[0]
            quals.append("e")
        elif w:
            quals.append(w)
    return quals, appr


class File:
    def __init__(self, path, feed, option=""):
        self.path, self.feed, self.option = os.path.relpath(path, ROOT), feed, option
        self.series, self.left = {}, 0

    def add(self, site, code, stat, ts, daily, unit, rows):
        """rows: (time, text or None, no-data value, qualifiers, approval)"""
        if code not in VARS or stat not in STATS:
            self.left += len(rows)
            return
        var, st = VARS[code], STATS[stat]
        if var == "precipitation" and not daily:
            st = "sum"
        key = "/".join([self.feed, site, var, st] + (["P1D"] if daily else []) + (["ts=" + ts] if ts else []))
        got = self.series.setdefault(key, {"rows": {}, "kind": (var, st, "P1D" if daily else "")})
        for t, text, nodata, quals, appr in rows:
            v = None
            if text not in (None, ""):
                try:
                    v = F(text.strip())
                    if nodata is not None and v == F(str(nodata)):
                        v = None
                except ValueError:
                    quals = [text.strip()] + [q for q in quals if q != text.strip()]
            if t in got["rows"]:
                self.left += 1
                if v is None and got["rows"][t][0] is not None:
                    continue
            got["rows"][t] = (UNITS[unit](v) if v is not None else None, quals, appr)

    def write(self):
        groups = {}
        pooled = len(self.series) > 20
        for key, s in self.series.items():
            name = key if not pooled else "/".join(x for x in s["kind"] if x)
            groups.setdefault(name, []).append(s)
        for name, list_ in groups.items():
            rows = [(t,) + r for s in list_ for t, r in s["rows"].items()]
            if pooled:
                name = "%d series of %s" % (len(list_), name)
            vals = [float(r[1]) for r in rows if r[1] is not None]
            times = sorted(r[0] for r in rows)
            words = {}
            for r in rows:
                for q in r[2]:
                    words[q] = words.get(q, 0) + 1
            iso = lambda t: t.strftime("%Y-%m-%dT%H:%M:%SZ")
            out.writerow([self.path, self.feed, self.option, name, len(rows), len(rows) - len(vals), iso(times[0]) if times else "", iso(times[-1]) if times else "",
                          "%.9g" % min(vals) if vals else "", "%.9g" % max(vals) if vals else "",
                          " ".join("%s=%d" % w for w in sorted(words.items())), sum(r[3] == "A" for r in rows)])
        out.writerow([self.path, self.feed, self.option, "left out", self.left] + [""] * 7)


def files(pattern):
    return sorted(glob.glob(os.path.join(ROOT, pattern)))


def ogc(p, option="", site=None, param=None, stat=None):
    f = File(p, "usgs", option)
    if p.endswith(".csv"):
        rows = list(csv.DictReader(open(p)))
        rows = [{k: v if v != "" else None for k, v in r.items()} for r in rows]
    else:
        rows = [dict(x["properties"], id=x.get("id", x["properties"].get("id"))) for x in json.load(open(p))["features"]]
    for r in rows:
        if "value" in r:
            t, daily = utc(r["time"])
            q = r.get("qualifier") or []
            appr = {"Approved": "A", "Provisional": "P"}.get(r.get("approval_status"), "")
            f.add(r.get("monitoring_location_id") or site, r.get("parameter_code") or param, r.get("statistic_id") or stat, r.get("time_series_id") or "", daily,
                  r["unit_of_measure"], [(t, r["value"], -999999, q if isinstance(q, list) else [q], appr)])
        elif "computation_identifier" in r:
            period = r.get("computation_period_identifier") or r.get("data_type")
            if period in ("Daily", "Points", "Daily values", "Continuous values") and r["parameter_code"] in VARS and r.get("statistic_id") in STATS and r["unit_of_measure"]:
                f.add(r["monitoring_location_id"], r["parameter_code"], r.get("statistic_id"), r["id"], period.startswith("Daily"), r["unit_of_measure"], [])
            else:
                f.left += 1
        elif "data" in r:
            for d in r["data"]:
                f.left += sum(len(v.get("percentiles", [0])) for v in d["values"])
        else:
            f.left += 1
    f.write()


for p in files("usgs-ogc-v1/[!e]*.json") + files("usgs-stats-api/*.json") + files("usgs-ogc-v0/*.csv") + files("usgs-ogc-v0/*.json"):
    name = os.path.basename(p)
    if name == "daily.csv":  # the answer names neither site nor parameter; those given here are the reader's
        ogc(p, "site=USGS-13010065 parameter=00060 statistic=00003", "USGS-13010065", "00060", "00003")
    elif name == "continuous-potomac-slim-page1.json":  # named only in its links
        ogc(p, "", "USGS-01646500", "00060")
    elif name == "statistic-codes.csv":
        out.writerow([os.path.relpath(p, ROOT), "usgs", "", "error", "of no collection that holds readings"] + [""] * 7)
    elif name == "queryables.json":
        out.writerow([os.path.relpath(p, ROOT), "usgs", "", "error", 'has no member "features"'] + [""] * 7)
    else:
        ogc(p)
for name, says in [("error-400-time-envelope", "limited to 1100 day(s)"), ("error-400-unknown-property", "requested property wasn't found"), ("error-403-invalid-key", "API_KEY_INVALID")]:
    out.writerow(["usgs-ogc-v1/" + name + ".json", "usgs", "", "error", says] + [""] * 7)
