#!/usr/bin/env python3
"""Expected figures of the recorded weather answers, computed apart from our parsers.

Python standard library only; no code of this project is used. Run from the
root of the repository:

    python3 testdata/feeds/recorded_weather.py ../shared/feeds > testdata/feeds/recorded-weather.csv
"""
import csv, glob, gzip, json, os, re, sys
from datetime import datetime, timedelta, timezone
from fractions import Fraction as F

from recorded_table import Table

ROOT = sys.argv[1]
table = Table(ROOT)
UTC = timezone.utc


def files(pattern):
    return sorted(glob.glob(os.path.join(ROOT, pattern)))


def number(x):
    return None if x is None else F(str(x))


def fahrenheit(x):
    return None if x is None else (x - 32) * 5 / 9


# --- Open-Meteo: columns by name, local times less the offset of the answer

def open_meteo(path):
    feed = "open-meteo"
    name = os.path.basename(path)
    if name.startswith("error-400"):
        return table.error(path, feed, json.load(open(path))["reason"].strip()[:60])
    if name.startswith("not-covered"):
        return table.error(path, feed, "no requested model covers this place")
    a = json.load(open(path))
    site = "%s,%s" % tuple(str(a[k])[:-2] if str(a[k]).endswith(".0") else str(a[k]) for k in ("latitude", "longitude"))
    off = timedelta(seconds=a["utc_offset_seconds"])
    series, left = {}, 0
    for block in ("hourly", "daily", "current", "current_weather"):
        if block not in a:
            continue
        cols, units = a[block], a[block + "_units"]
        times = cols["time"] if isinstance(cols["time"], list) else [cols["time"]]
        numbered = any("_member" in c for c in cols)
        spread = {c[:-7] for c in cols if c.endswith("_spread")}
        for col, vals in cols.items():
            if col in ("time", "interval"):
                continue
            vals = vals if isinstance(vals, list) else [vals]
            m = re.fullmatch(r"(temperature_2m|temperature|windspeed|river_discharge)(_max|_min|_mean|_median|_p25|_p75)?(_member(\d\d))?(_(archive_best_match|flood_best_match|era5|era5_land|seamless_v4|\w*_v4))?", col)
            if not m or col.endswith("_spread") or (m.group(1) == "temperature" and block != "current_weather"):
                left += len(vals)
                continue
            base, suffix, member, model = m.group(1), (m.group(2) or "")[1:], m.group(4), m.group(6)
            variable = {"temperature_2m": "air_temperature", "temperature": "air_temperature", "windspeed": "wind_speed", "river_discharge": "discharge"}[base]
            stat, ts = "instant", []
            if base == "river_discharge":
                stat = "mean"
                if suffix:
                    ts.append("members-" + suffix)
            elif suffix:
                stat = suffix
            if col in spread:
                ts.append("members-mean")
            if model:
                ts.append(model)
            if block.startswith("current"):
                ts.append("current")
            key = "/".join([feed, site, variable, stat] + (["P1D"] if block == "daily" else []) + (["ts=" + "-".join(ts)] if ts else [])
                           + (["member=%02d" % (int(member or 0) + 1)] if numbered else []))
            convert = {"°C": lambda x: x, "°F": lambda x: (x - 32) * 5 / 9, "mp/h": lambda x: x * F(1609344, 3600000), "m³/s": lambda x: x}[units[col]]
            rows = series.setdefault(key, {})
            for t, v in zip(times, vals):
                when = datetime.strptime(t, "%Y-%m-%d").replace(tzinfo=UTC) if block == "daily" else datetime.strptime(t, "%Y-%m-%dT%H:%M").replace(tzinfo=UTC) - off
                rows[when] = (None if v is None else convert(number(v)), [], False)
    table.series(path, feed, series, left=left)


for p in files("open-meteo/*"):
    open_meteo(p)


# --- api.weather.gov

def length(s):
    m = re.fullmatch(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?)?", s)
    return 24 * int(m.group(1) or 0) + int(m.group(2) or 0)


def nws(path):
    feed, a = "nws", json.load(open(path))
    if "/problems/" in str(a.get("type")):
        return table.error(path, feed, a["title"])
    props = a.get("properties", {})
    if "periods" in props:
        series, left = {}, 0
        if "geometries" in a["geometry"]:
            lon, lat = a["geometry"]["geometries"][0]["coordinates"]
        key = "%s/%.4f,%.4f/air_temperature/instant/ts=forecast" % (feed, lat, lon)
        for x in props["periods"]:
            if not x.get("startTime"):
                continue
            begin, end = datetime.fromisoformat(x["startTime"]), datetime.fromisoformat(x["endTime"])
            if end - begin != timedelta(hours=1):
                left += 1
                continue
            v = number(x["temperature"])
            series.setdefault(key, {})[begin.astimezone(UTC)] = (fahrenheit(v) if x["temperatureUnit"] == "F" else v, [], False)
        return table.series(path, feed, series, left=left)
    if "gridId" in props and "validTimes" in props:
        site = "%s-%s,%s" % (props["gridId"], props["gridX"], props["gridY"])
        series = {}
        for layer, variable, total, factor in [("temperature", "air_temperature", False, 1), ("relativeHumidity", "relative_humidity", False, 1), ("skyCover", "cloud_cover", False, 1),
                                               ("windSpeed", "wind_speed", False, F(10, 36)), ("quantitativePrecipitation", "precipitation", True, 1),
                                               ("probabilityOfThunder", "thunder_probability", False, 1)]:
            vals = props[layer]["values"]
            if not vals:
                continue
            rows = series.setdefault("/".join([feed, site, variable] + (["sum", "PT1H"] if total else ["instant"]) + ["ts=forecast"]), {})
            for x in vals:
                begin, span = x["validTime"].split("/")
                begin, hours = datetime.fromisoformat(begin).astimezone(UTC), length(span)
                for h in range(hours):
                    v = number(x["value"])
                    if total:
                        rows[begin + timedelta(hours=h + 1)] = (v / hours, ["part of " + span] if hours > 1 else [], False)
                    else:
                        rows[begin + timedelta(hours=h)] = (None if v is None else v * factor, [], False)
        return table.series(path, feed, series)
    feats = a["features"] if "features" in a else [a]
    if not any("timestamp" in f["properties"] for f in feats):
        return table.nothing(path, feed, len(feats))
    series, left = {}, 0
    for f in feats:
        p = f["properties"]
        site, when = p["station"].split("/")[-1], datetime.fromisoformat(p["timestamp"]).astimezone(UTC)
        for name, variable, stat in [("temperature", "air_temperature", "instant"), ("relativeHumidity", "relative_humidity", "instant"), ("windSpeed", "wind_speed", "instant"),
                                     ("precipitationLastHour", "precipitation", "sum/PT1H")]:
            q = p.get(name)
            if not isinstance(q, dict):
                continue
            unit = q["unitCode"].split(":")[1]
            v = number(q["value"])
            if v is not None:
                v = v * {"degC": 1, "percent": 1, "km_h-1": F(10, 36), "m_s-1": 1, "m": 1000, "mm": 1}[unit]
            rows = series.setdefault("/".join([feed, site, variable, stat]), {})
            if when in rows:
                left += 1
                if v is None and rows[when][0] is not None:
                    continue
            rows[when] = (v, [q["qualityControl"].replace("qc:", "")], False)
    table.series(path, feed, series, left=left)


for p in files("nws/*"):
    nws(p)


# --- GHCN-Daily

ELEMENTS = {"TMAX": ("air_temperature", "max"), "TMIN": ("air_temperature", "min"), "TAVG": ("air_temperature", "mean"), "PRCP": ("precipitation", "sum"),
            "SNWD": ("snow_depth", "instant"), "AWND": ("wind_speed", "mean"), "RHAV": ("relative_humidity", "mean")}
TENTHS = {"SNWD": F(1, 1000), "RHAV": 1}
MILE, INCH = F(1609344, 1000), F(254, 10)


def house(element, text, units):
    v = F(text)
    if units == "tenths":
        return v * TENTHS.get(element, F(1, 10))
    if element[0] == "T":
        return fahrenheit(v)
    return v * {"PRCP": INCH, "SNWD": INCH / 1000, "AWND": MILE / 3600}[element]


def ghcn(path):
    feed, series, left = "ghcn", {}, 0

    def add(site, element, day, text, quals, units):
        variable, stat = ELEMENTS[element]
        v = None if text.strip() in ("", "-9999") else house(element, text.strip(), units)
        series.setdefault("/".join([feed, site, variable, stat, "P1D"]), {})[day] = (v, quals, False)

    if path.endswith(".dly.gz"):
        for line in gzip.open(path, "rt"):
            site, year, month, element = line[:11], int(line[11:15]), int(line[15:17]), line[17:21]
            days = ((datetime(year, month, 28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)).day
            for d in range(days):
                cell = line[21 + 8 * d:29 + 8 * d]
                if element not in ELEMENTS:
                    left += cell[:5] != "-9999"
                    continue
                quals = [n + ":" + c for n, c in (("M", cell[5]), ("Q", cell[6])) if c.strip()]
                add(site, element, datetime(year, month, d + 1, tzinfo=UTC), cell[:5], quals, "tenths")
        return table.series(path, feed, series, left=left)
    rows = json.load(open(path)) if path.endswith(".json") else list(csv.DictReader(open(path)))
    units = "standard" if "standard-units" in path else "tenths"
    for r in rows:
        site = r["STATION"].replace("GHCND:", "")
        day = datetime.strptime(r["DATE"].replace("-", ""), "%Y%m%d").replace(tzinfo=UTC)
        for element, text in r.items():
            if element in ELEMENTS:
                add(site, element, day, text, [], units)
            elif element not in ("STATION", "STATION_NAME", "NAME", "DATE") and text.strip():
                left += 1
    table.series(path, feed, series, left=left)


for p in files("ghcn/*"):
    ghcn(p)
