"""Opens a GeoJSON file with GDAL, as map programs do, and prints what it saw as JSON.

    /usr/bin/python3 gdal.py FILE.geojson      (python3-gdal 3.6.2)
"""
import json, sys
from osgeo import ogr

ogr.UseExceptions()
source = ogr.Open(sys.argv[1])
layer = source.GetLayer(0)
features = list(layer)
def numbers(f, name):
    v = f.GetField(name) if f.GetFieldIndex(name) >= 0 else None
    if isinstance(v, str):
        v = json.loads(v)  # GDAL keeps an array with a null as text
    return [x for x in v or [] if x is not None]
print(json.dumps(dict(
    n=len(features), extent=list(layer.GetExtent()), cautions=sorted({f.GetField("caution") for f in features}),
    water=max((numbers(f, "water_p50") for f in features), key=len), p=max(len(numbers(f, "p")) for f in features))))
