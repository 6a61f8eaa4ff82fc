"""A calendar program in small, on Python's icalendar (python3-icalendar of Debian): it
fetches an address, keeps events by UID and takes a newer SEQUENCE over an older one
(RFC 5545, section 3.8.7.4). It prints what client.mjs prints.
"""
import json
import sys
import urllib.request

import icalendar

kept, fetches = {}, []
for address in sys.argv[1:]:
    calendar = icalendar.Calendar.from_ical(urllib.request.urlopen(address).read())
    news, seen = [], set()
    for e in calendar.walk("VEVENT"):
        now = {
            "uid": str(e["UID"]), "from": e["DTSTART"].dt.isoformat(), "end": e["DTEND"].dt.isoformat(), "sequence": int(e["SEQUENCE"]),
            "status": str(e["STATUS"]), "summary": str(e["SUMMARY"]), "description": str(e["DESCRIPTION"]),
        }
        uid = now["uid"]
        if uid in seen:
            sys.exit("twice in one calendar: " + uid)
        seen.add(uid)
        was = kept.get(uid)
        if was is None:
            news.append({"what": "new", **now})
        elif now["sequence"] > was["sequence"]:
            news.append({"what": "cancelled" if now["status"] == "CANCELLED" else "moved", **now})
        elif (now["from"], now["end"]) != (was["from"], was["end"]):
            sys.exit("moved without a newer SEQUENCE: " + uid)
        kept[uid] = now
    refresh = calendar["REFRESH-INTERVAL"]
    fetches.append({"news": news, "kept": len(kept), "refresh": refresh.to_ical().decode() if hasattr(refresh, "to_ical") else str(refresh), "method": str(calendar.get("METHOD", ""))})
print(json.dumps(fetches))
