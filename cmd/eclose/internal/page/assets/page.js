// What a page may do more with a script: nothing here is needed.
"use strict";
(() => {
  const kept = "eclose-sightings";
  const read = () => { try { return JSON.parse(localStorage.getItem(kept) || "[]"); } catch { return []; } };
  const write = (list) => { try { localStorage.setItem(kept, JSON.stringify(list)); return true; } catch { return false; } };
  const say = (text) => {
    const p = document.getElementById("waiting");
    if (p) { p.textContent = text; p.hidden = text === ""; }
  };
  const post = (body) => fetch("/diary", { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded" }, body, redirect: "follow", credentials: "same-origin" });

  // Sightings that a phone without a net kept go out when there is one. The same
  // form sent twice is one sighting.
  const flush = async () => {
    const left = [];
    for (const body of read()) {
      try {
        const fields = new URLSearchParams(body);
        const mark = document.querySelector("input[name=mark]");
        if (mark) { fields.set("mark", mark.value); } // the one it was kept with may be too old
        const r = await post(fields.toString());
        if (!r.ok) { left.push(body); }
      } catch { left.push(body); }
    }
    write(left);
    say(left.length === 0 ? "" : left.length + " saved on this device; will be sent when you are back online.");
  };
  if (read().length > 0) { flush(); }
  addEventListener("online", flush);

  // A caution that is no longer valid says so; without a script its own line does.
  const expire = () => {
    for (const p of document.querySelectorAll("[data-until]")) {
      if (Date.now() <= Date.parse(p.dataset.until)) { continue; }
      p.querySelector("b").textContent = p.dataset.past;
      p.classList.add("strong");
      delete p.dataset.until;
    }
  };
  expire();
  setInterval(expire, 30000);
  addEventListener("pageshow", expire);

  // A reader's own page: each press goes out at once, or stays on the phone until
  // there is a network. The server takes each only once.
  const reports = "eclose-reports";
  const waiting = () => { try { return JSON.parse(localStorage.getItem(reports) || "[]"); } catch { return []; } };
  const keep = (list) => { try { localStorage.setItem(reports, JSON.stringify(list)); return true; } catch { return false; } };
  const tell = (to, body) => fetch(to, { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded" }, body, redirect: "follow", credentials: "same-origin" });
  let sending = false;
  const sendAll = async () => {
    if (sending) { return; }
    sending = true;
    let sent = 0;
    for (const x of waiting()) {
      try {
        const r = await tell(x.to, x.body);
        if (r.status >= 500 || r.status === 429) { continue; } // it may go another time
        keep(waiting().filter((y) => y.body !== x.body));
        if (r.ok) { sent++; }
      } catch { break; }
    }
    sending = false;
    const n = waiting().length;
    if (n > 0) { say(n + " kept on this phone; will be sent when you are back online."); }
    else if (sent > 0) { say(sent + (sent === 1 ? " report" : " reports") + " sent."); }
  };
  if (waiting().length > 0) { sendAll(); }
  addEventListener("online", sendAll);
  const later = document.querySelectorAll("form.later");
  for (const f of later) {
    f.addEventListener("submit", (e) => {
      e.preventDefault();
      const data = new FormData(f, e.submitter);
      const now = new Date(); // the page may have been kept since another day
      data.set("date", now.getFullYear() + "-" + String(now.getMonth() + 1).padStart(2, "0") + "-" + String(now.getDate()).padStart(2, "0"));
      data.set("nonce", crypto.randomUUID());
      if (!keep([...waiting(), { to: f.getAttribute("action"), body: new URLSearchParams(data).toString() }])) {
        say("This phone cannot keep it. Write it on paper.");
        return;
      }
      for (const b of f.querySelectorAll("button")) { b.setAttribute("aria-pressed", b === e.submitter ? "true" : "false"); }
      say("Kept on this phone.");
      sendAll();
    });
  }
  if (later.length > 0 && "serviceWorker" in navigator) { navigator.serviceWorker.register("/sw.js").catch(() => {}); }

  const form = document.getElementById("sighting");
  if (form) {
    form.addEventListener("change", (e) => {
      if (e.target.name === "other" && e.target.value !== "") {
        for (const r of form.querySelectorAll("input[name=group]")) { r.checked = false; }
      } else if (e.target.name === "group") {
        const other = form.querySelector("select[name=other]");
        if (other) { other.value = ""; }
      }
    });
    form.addEventListener("submit", async (e) => {
      if (navigator.onLine) { return; } // the ordinary way
      e.preventDefault();
      const data = new FormData(form, e.submitter);
      if (!data.get("river") || !data.get("group") && !data.get("other")) {
        say("Choose the river and the insect first.");
        return;
      }
      data.set("nonce", crypto.randomUUID()); // the form itself may come from the store, used before
      if (write([...read(), new URLSearchParams(data).toString()])) {
        say("Offline: saved on this device. It will be sent when you are back online.");
      } else {
        say("Offline, and this device cannot save it. Write it on paper.");
      }
    });
  }

  // The pages of the rivers stay at hand without a net.
  if ("serviceWorker" in navigator && document.querySelector("link[rel=manifest]")) { // a copy for a plain web space has none
    navigator.serviceWorker.register("/sw.js").then(async () => {
      const worker = (await navigator.serviceWorker.ready).active;
      const saving = navigator.connection && navigator.connection.saveData;
      const links = [...document.querySelectorAll('a[href^="/river/"]')].map((a) => new URL(a.href).pathname);
      if (worker && !saving) { worker.postMessage([...new Set([location.pathname, ...links])]); }
    }).catch(() => {});
  }
})();
