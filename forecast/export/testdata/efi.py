"""Checks forecast files and a targets file against the convention of the Ecological
Forecasting Initiative, and scores each with the targets.

    /usr/bin/python3 efi.py TARGETS.csv FORECAST.csv...      (python3-pandas 1.5.3)

Written from the convention's text (Dietze et al. 2023, Ecosphere 14(11):e4686:
table 2, dimensions; tables S1 and S2, names of families and parameters; section
"Forecasted variables") and from what the challenges ask beyond it (project_id,
model_id, duration; targets with project_id, site_id, datetime, duration, variable,
observation). It shares no code with the program that writes the files. Prints the
faults and figures of each forecast as a JSON array.
"""
import json, re, sys
import pandas as pd

# Table S1, the part with scalar parameters, and table S2.
FAMILIES = {
    "bernoulli": {"prob"}, "beta": {"shape1", "shape2"}, "binomial": {"size", "prob"}, "exponential": {"rate"},
    "gamma": {"shape", "rate"}, "logistic": {"location", "scale"}, "lognormal": {"mu", "sigma"}, "normal": {"mu", "sigma"},
    "poisson": {"lambda"}, "student_t": {"df", "mu", "sigma"}, "uniform": {"min", "max"}, "weibull": {"shape", "scale"},
}
SUMMARY = re.compile(r"mean|median|sd|se|variance|precision|cov|(pred|conf)_interv_\d\d\.\d")
ORDER = ["project_id", "model_id", "reference_datetime", "datetime", "duration", "site_id", "family", "parameter", "variable", "prediction"]
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")  # CF names: letters, digits, underscores; hyphens delimit covariances
ISO = re.compile(r"\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d))?")
PERIOD = re.compile(r"P(?=.)(\d+[YMWD])*(T(\d+[HMS])+)?")

def judge(path):
    faults = []
    def fault(rule, bad):
        if len(bad):
            faults.append(f"{rule}: {len(bad)} rows, first {bad.iloc[0].to_dict()}")

    f = pd.read_csv(path, dtype=str, keep_default_na=False)
    t = pd.read_csv(sys.argv[1], dtype=str, keep_default_na=False)
    found = [c for c in f.columns if c in ORDER]
    if found != ORDER:
        faults.append(f"columns {list(f.columns)}: dimensions in the order of table 2, then variable and prediction")
    if any(c in f.columns for c in ("ensemble", "time", "start_time")):
        faults.append("names of versions before 0.5")
    for c in ORDER:
        fault(f"{c} is empty", f[f[c] == ""])
    for c in ("reference_datetime", "datetime"):
        fault(f"{c} is not ISO 8601", f[~f[c].str.fullmatch(ISO)])
    fault("duration is not ISO 8601", f[~f["duration"].str.fullmatch(PERIOD)])
    fault("variable is not a CF name", f[~f["variable"].str.fullmatch(NAME)])
    names = f["variable"].drop_duplicates()
    if names.str.lower().duplicated().any():
        faults.append("variables that differ in case only")
    f["value"] = pd.to_numeric(f["prediction"], errors="coerce")
    fault("prediction is not a number", f[f["value"].isna()])
    key = ["model_id", "reference_datetime", "datetime", "site_id", "family", "variable"]
    fault("the same parameter twice", f[f.duplicated(key + ["parameter"])])
    for family, rows in f.groupby("family"):
        if family in ("ensemble", "sample"):
            fault("a member that is not a whole number", rows[~rows["parameter"].str.fullmatch(r"[1-9]\d*")])
            members = rows.assign(n=pd.to_numeric(rows["parameter"], errors="coerce")).groupby(key)["n"]
            fault("members are not 1 to n", members.agg(["max", "count"]).reset_index().query("max != count", engine="python"))
        elif family == "summary":
            fault("a parameter that table S2 lacks", rows[~rows["parameter"].str.fullmatch(SUMMARY)])
            q = rows.assign(q=rows["parameter"].str.extract(r"interv_(\d\d\.\d)")[0].astype(float).where(rows["parameter"] != "median", 50.0))
            q = q.dropna(subset=["q"]).sort_values(key + ["q"])
            fault("quantiles that fall", q[q.groupby(key)["value"].diff() < 0])
        elif family in FAMILIES:
            want = FAMILIES[family]
            fault(f"a parameter that {family} lacks", rows[~rows["parameter"].isin(want)])
            count = rows.groupby(key)["parameter"].nunique().reset_index(name="count")
            fault(f"a {family} without all its parameters", count[count["count"] != len(want)])
            if family == "bernoulli":
                fault("a chance outside 0 to 1", rows[(rows["value"] < 0) | (rows["value"] > 1)])
        else:
            faults.append(f"family {family} is not in table S1")

    TARGETS = ["project_id", "site_id", "datetime", "duration", "variable", "observation"]
    if [c for c in t.columns if c in TARGETS] != TARGETS:
        faults.append(f"targets have the columns {list(t.columns)}")
    t["observation"] = pd.to_numeric(t["observation"], errors="coerce")
    fault("observation is not a number", t[t["observation"].isna()])
    fault("the same target twice", t[t.duplicated(["site_id", "datetime", "duration", "variable"])])

    # What the files are for: a score of each kind, joined as the challenges join them.
    both = f.merge(t, on=["site_id", "datetime", "duration", "variable"])
    median = both[(both["family"] == "summary") & (both["parameter"] == "median")]
    brier = both[both["family"] == "bernoulli"]
    return dict(
        faults=faults, rows=len(f), targets=len(t), families=sorted(f["family"].unique()), models=sorted(f["model_id"].unique()),
        members=int(pd.to_numeric(f[f["family"] == "ensemble"]["parameter"]).max()) if (f["family"] == "ensemble").any() else 0,
        sum=float(f["value"].sum()), scored=len(both),
        mae={v: float((g["value"] - g["observation"]).abs().mean()) for v, g in median.groupby("variable")},
        brier={m: float(((g["value"] - g["observation"]) ** 2).mean()) for m, g in brier.groupby("model_id")})

print(json.dumps([judge(path) for path in sys.argv[2:]]))
