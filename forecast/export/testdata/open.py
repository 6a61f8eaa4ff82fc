"""Opens an exported CSV in pandas and prints what it saw as JSON.

    /usr/bin/python3 open.py FOLDER-WITH-EXPORTS     (python3-pandas 1.5.3)
"""
import json, sys
import pandas as pd

d = pd.read_csv(sys.argv[1] + "/out.csv", parse_dates=["day", "issued_at"])
print(json.dumps(dict(n=len(d), p=d["p"].sum(), rivers=int(d["river"].nunique()), first_day=str(d["day"].min().date()),
                      windows=int(d["window_peak_p50"].notna().sum()), name=d["river_name"][0])))
