"""Checks CSV files and the descriptions beside them against the W3C's CSV on the Web.

    /usr/bin/python3 csvw.py FILE.csv...      (standard library only)

Written from "Metadata Vocabulary for Tabular Data" (W3C Recommendation, 17 December
2015; section numbers below) and RFC 4180; no validator is in Debian 12 or on npm.
The Recommendation's text and the list of prefixes (RDFa Core Initial Context) are
from memory. It shares no code with the program that writes the files. Prints the
faults of each file as a JSON array.
"""
import csv, json, re, sys
from datetime import date, datetime

PREFIXES = set("""as csvw dcat dqv duv grddl jsonld ldp ma oa odrl org owl prov qb rdf rdfa rdfs rif rr sd skos skosxl sosa
ssn time v void wdr wdrs xhv xml xsd cc ctag dc dcterms dc11 foaf gr ical rev schema sioc""".split())
INHERITED = {"aboutUrl", "datatype", "default", "lang", "null", "ordered", "propertyUrl", "required", "separator", "textDirection", "valueUrl"}
PROPERTIES = {  # sections 5.3 to 5.9
    "table": {"url", "dialect", "notes", "suppressOutput", "tableDirection", "tableSchema", "transformations"} | INHERITED,
    "schema": {"columns", "foreignKeys", "primaryKey", "rowTitles"} | INHERITED,
    "column": {"name", "suppressOutput", "titles", "virtual"} | INHERITED,
    "dialect": {"commentPrefix", "delimiter", "doubleQuote", "encoding", "header", "headerRowCount", "lineTerminators", "quoteChar",
                "skipBlankRows", "skipColumns", "skipInitialSpace", "skipRows", "trim"},
}
NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?|NaN|-?INF")
def iso(parse):
    def check(s):
        try:
            parse(s)
            return True
        except ValueError:
            return False
    return check
DATATYPES = {  # 5.11.1
    "string": lambda s: True,
    "double": NUMBER.fullmatch, "number": NUMBER.fullmatch,
    "integer": re.compile(r"[+-]?\d+").fullmatch,
    "boolean": lambda s: s in ("true", "false", "1", "0"),
    "date": iso(date.fromisoformat),
    "dateTime": iso(lambda s: datetime.fromisoformat(re.sub(r"Z$", "+00:00", re.sub(r"(\.\d+)", lambda m: m[1][:7].ljust(7, "0"), s)))),
}

faults = []
def need(ok, fault):
    if not ok:
        faults.append(fault)

def properties(obj, kind, where):
    """5.1: a property is the vocabulary's, a prefixed name with a known prefix, or an absolute URL."""
    for k, v in obj.items():
        if k in ("@id", "@type", "@context"):
            need(k != "@context" or kind == "table", f"{where}: @context within the document")
        elif k in PROPERTIES[kind]:
            pass
        elif ":" in k:
            prefix, rest = k.split(":", 1)
            need(rest.startswith("//") or prefix in PREFIXES, f"{where}: the prefix of {k} is not declared, and a context cannot declare it")
            need(isinstance(v, (str, int, float, bool, list)) or isinstance(v, dict) and ("@value" in v or "@id" in v), f"{where}: value of {k}")
        else:
            need(False, f"{where}: {k} is no property of a {kind}")

def judge(path):
    faults.clear()
    doc = json.load(open(path + "-metadata.json", encoding="utf-8"))
    context = doc.get("@context")
    if isinstance(context, list):  # 5.2
        need(len(context) == 2 and context[0] == "http://www.w3.org/ns/csvw" and isinstance(context[1], dict)
             and context[1] and set(context[1]) <= {"@base", "@language"}, f"@context is {context}")
    else:
        need(context == "http://www.w3.org/ns/csvw", f"@context is {context}")
    properties(doc, "table", "table")
    need(doc.get("url") == path.rsplit("/", 1)[-1], f"url is {doc.get('url')}")
    dialect = doc.get("dialect", {})
    properties(dialect, "dialect", "dialect")
    schema = doc["tableSchema"]
    properties(schema, "schema", "schema")
    columns = schema["columns"]
    names = []
    for i, c in enumerate(columns):
        where = f"column {i + 1}"
        properties(c, "column", where)
        name = c.get("name", "")
        need(re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.]*", name), f"{where}: name {name!r}")  # 5.6: a URI template variable, not with _ first
        need(name not in names, f"{where}: {name} twice")
        names.append(name)
        need(isinstance(c.get("titles", ""), str) or c["titles"], f"{where}: titles")
        need(c.get("datatype", "string") in DATATYPES, f"{where}: datatype {c.get('datatype')}")
        need(isinstance(c.get("required", False), bool), f"{where}: required")
    key = schema.get("primaryKey", [])
    key = [key] if isinstance(key, str) else key
    need(key, "no primaryKey")
    need(set(key) <= set(names), f"primaryKey {key} names no column")

    raw = open(path, "rb").read()
    raw.decode("utf-8")
    ends = dialect.get("lineTerminators", ["\r\n", "\n"])
    ends = [ends] if isinstance(ends, str) else ends
    need(any(raw.endswith(e.encode()) for e in ends), "the last line ends otherwise than the dialect says")
    rows = csv.reader(open(path, encoding="utf-8", newline=""), strict=True)
    header = next(rows)
    need(header == [c["titles"] for c in columns], f"header {header}")
    seen, count = set(), 0
    for n, row in enumerate(rows, 2):
        count += 1
        if len(row) != len(columns):
            need(False, f"row {n}: {len(row)} cells")
            continue
        cells = dict(zip(names, row))
        for c in columns:
            cell = cells[c["name"]]
            if cell == c.get("null", ""):
                need(not c.get("required"), f"row {n}: {c['name']} is required")
            elif not DATATYPES.get(c.get("datatype", "string"), bool)(cell):
                need(False, f"row {n}: {c['name']} is no {c['datatype']}: {cell!r}")
        k = tuple(cells.get(c) for c in key)
        need(k not in seen, f"row {n}: the key {k} twice")
        seen.add(k)
        if len(faults) > 20:
            break
    return dict(faults=faults[:20], rows=count, text=json.dumps(doc, ensure_ascii=False))

print(json.dumps([judge(path) for path in sys.argv[1:]]))
