"""How the scripts recorded_weather.py and recorded_gauges.py write their tables.

Only the layout is shared; what a file holds each script finds out by itself.
"""
import csv, os, sys

COLUMNS = "file feed option series count missing first last min max qualifiers approved".split()


class Table:
    def __init__(self, root, out=sys.stdout):
        self.root, self.out = root, csv.writer(out, lineterminator="\n")
        self.out.writerow(COLUMNS)

    def error(self, path, feed, words, option=""):
        self.out.writerow([os.path.relpath(path, self.root), feed, option, "error", words] + [""] * 7)

    def nothing(self, path, feed, left, option=""):
        self.out.writerow([os.path.relpath(path, self.root), feed, option, "left out", left] + [""] * 7)

    def series(self, path, feed, series, option="", left=None):
        """series: key -> {time: (value or None, [qualifiers], approved?)}; a file of more than 20 is pooled by what
        stands in the key between the site and what begins with ts= or member=."""
        pooled = len(series) > 20
        groups = {}
        for key, rows in series.items():
            name = key
            if pooled:
                kept = [w for w in key[len(feed) + 1:].split("/") if not w.startswith(("ts=", "member="))]
                name = "/".join(kept[1:])
            groups.setdefault(name, []).append(rows)
        for name, many in groups.items():
            rows = [(t,) + r for s in many for t, r in s.items()]
            if pooled:
                name = "%d series of %s" % (len(many), name)
            vals = [float(r[1]) for r in rows if r[1] is not None]
            times = sorted(r[0] for r in rows)
            words = {}
            for r in rows:
                for q in r[2]:
                    words[q] = words.get(q, 0) + 1
            iso = lambda t: t.strftime("%Y-%m-%dT%H:%M:%SZ")
            self.out.writerow([os.path.relpath(path, self.root), feed, option, name, len(rows), len(rows) - len(vals),
                               iso(times[0]) if times else "", iso(times[-1]) if times else "",
                               "%.9g" % min(vals) if vals else "", "%.9g" % max(vals) if vals else "",
                               " ".join("%s=%d" % w for w in sorted(words.items())), sum(bool(r[3]) for r in rows)])
        if left is not None:
            self.nothing(path, feed, left, option)
