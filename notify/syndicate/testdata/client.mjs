// A calendar program in small, on ical.js: it fetches an address, keeps events by UID
// and takes a newer SEQUENCE over an older one (RFC 5545, section 3.8.7.4).
const ICAL = (await import(process.argv[2] + "/node_modules/ical.js/dist/ical.js")).default;

const kept = new Map();
const fetches = [];
for (const address of process.argv.slice(3)) {
  const text = await (await fetch(address)).text();
  const calendar = new ICAL.Component(ICAL.parse(text));
  const news = [];
  const seen = new Set();
  for (const v of calendar.getAllSubcomponents("vevent")) {
    const e = new ICAL.Event(v);
    if (seen.has(e.uid)) { throw new Error("twice in one calendar: " + e.uid); }
    seen.add(e.uid);
    const now = { uid: e.uid, from: e.startDate.toString(), end: e.endDate.toString(), sequence: e.sequence, status: v.getFirstPropertyValue("status"), summary: e.summary, description: e.description };
    const was = kept.get(e.uid);
    if (!was) { news.push({ what: "new", ...now }); }
    else if (now.sequence > was.sequence) { news.push({ what: now.status === "CANCELLED" ? "cancelled" : "moved", ...now }); }
    else if (now.from !== was.from || now.end !== was.end) { throw new Error("moved without a newer SEQUENCE: " + e.uid); }
    kept.set(e.uid, now);
  }
  fetches.push({ news, kept: kept.size, refresh: String(calendar.getFirstPropertyValue("refresh-interval")), method: calendar.getFirstPropertyValue("method") });
}
console.log(JSON.stringify(fetches));
