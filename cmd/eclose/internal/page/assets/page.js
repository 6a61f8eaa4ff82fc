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
      p.querySelector("b").textContent = "Caution level unknown: this copy is out of date. Treat the river as too high until you have seen it.";
      p.classList.add("strong");
      delete p.dataset.until;
    }
  };
  expire();
  setInterval(expire, 30000);
  addEventListener("pageshow", expire);

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
      data.set("nonce", crypto.randomUUID()); // the form itself may come from the store, used before
      if (write([...read(), new URLSearchParams(data).toString()])) {
        say("Offline: saved on this device. It will be sent when you are back online.");
      } else {
        say("Offline, and this device cannot save it. Write it on paper.");
      }
    });
  }

  // The pages of the rivers stay at hand without a net.
  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register("/sw.js").then(async () => {
      const worker = (await navigator.serviceWorker.ready).active;
      const saving = navigator.connection && navigator.connection.saveData;
      const links = [...document.querySelectorAll('a[href^="/river/"]')].map((a) => new URL(a.href).pathname);
      if (worker && !saving) { worker.postMessage([...new Set([location.pathname, ...links])]); }
    }).catch(() => {});
  }
})();
