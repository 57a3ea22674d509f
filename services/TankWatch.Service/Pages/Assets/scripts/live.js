// An open page looks again when the service says that something changed, and says so when it cannot. It holds nothing of its own: it asks
// for the same page and takes over what differs, but for what the reader has typed, opened or focused.
// What it says by itself comes with the page, in the page's language.
const TankWatch = { busy: () => false, taken: () => {}, look: () => {}, words: JSON.parse(document.body.dataset.words) };
(() => {
  "use strict";
  const plurals = new Intl.PluralRules(document.documentElement.lang);
  const beatWithin = 25e3, again = 2e3;
  let stream = null, heard = performance.now(), lookedAt = performance.now(), cost = 0, timer = 0, lost = false, dirty = false, looking = false;
  let clock = { service: Date.parse(document.body.dataset.now), here: performance.now() };

  const speed = () => Number(document.body.dataset.speed) || 1;
  const now = () => clock.service + (performance.now() - clock.here) * speed();
  const keep = {
    beforeNodeMorphed: (old, fresh) => !(old.nodeType === 1 && (old.hasAttribute("data-keep") || (old.matches("input, textarea") && old.value !== old.defaultValue))),
    beforeAttributeUpdated: (name, node) => !(name === "open" && node.tagName === "DETAILS"),
  };
  TankWatch.take = (old, fresh) => Idiomorph.morph(old, fresh, { morphStyle: "outerHTML", restoreFocus: true, callbacks: keep });

  function ago(ms) {
    const s = ms / 1000, words = (n, unit) => { const w = TankWatch.words[unit]; n = Math.round(n); return (w[plurals.select(n)] ?? w.other).replace("{n}", n); };
    return s < 5 ? TankWatch.words.now : s < 120 ? words(s, "seconds") : s < 7200 ? words(s / 60, "minutes") : s < 172800 ? words(s / 3600, "hours") : words(s / 86400, "days");
  }
  function tellAges() {
    for (const time of document.querySelectorAll("time[data-ago]")) {
      const text = ago(Math.max(0, now() - Date.parse(time.dateTime)));
      if (time.textContent !== text) time.textContent = text;
    }
    for (const time of lost ? [] : document.querySelectorAll("time[data-clock]")) {
      const text = new Intl.DateTimeFormat("en-GB", { timeZone: time.dataset.zone, hour: "2-digit", minute: "2-digit", second: "2-digit" }).format(now());
      if (time.textContent !== text) time.textContent = text;
    }
    if (lost) tellLost();
  }
  function tellLost() {
    const box = document.getElementById("connection"), text = TankWatch.words.lost.other.replace("{ago}", ago(performance.now() - lookedAt));
    if (box.textContent !== text) box.innerHTML = "<p></p>", box.firstChild.textContent = text;
  }
  function setLost(value) {
    lost = value;
    document.documentElement.classList.toggle("lost", value);
    if (value) tellLost(); else document.getElementById("connection").textContent = "";
  }

  async function look() {
    timer = 0;
    if (looking) { dirty = true; return; }
    if (document.hidden || TankWatch.busy()) { dirty = true; return; }
    looking = true; dirty = false;
    const began = performance.now();
    try {
      const answer = await fetch(location.href, { cache: "no-store", headers: { Accept: "text/html" } });
      if (answer.status === 401 || answer.redirected) { location.reload(); return; }
      if (answer.status >= 500) throw new Error(answer.status);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!page.body.dataset.live || page.documentElement.dataset.version !== document.documentElement.dataset.version || page.documentElement.lang !== document.documentElement.lang) { location.reload(); return; }
      if (TankWatch.busy()) { dirty = true; return; }
      document.title = page.title;
      Object.assign(document.body.dataset, page.body.dataset);
      clock = { service: Date.parse(page.body.dataset.now), here: performance.now() };
      for (const part of ["header.mast", ".demo-bar", "main"]) {
        const [old, fresh] = [document.querySelector(part), page.querySelector(part)];
        if (old && fresh) TankWatch.take(old, fresh);
      }
      lookedAt = performance.now();
      TankWatch.taken();
      setLost(false);
    } catch {
      setLost(true);
    } finally {
      cost = performance.now() - began;
      looking = false;
      tellAges();
      if (dirty && !document.hidden) soon();
    }
  }
  // At once after a quiet time, else at a pace that leaves the service and a slow phone most of their time.
  const soon = () => { timer ||= setTimeout(look, Math.max(0, lookedAt + 400 + 4 * cost - performance.now())); };

  function connect() {
    stream?.close();
    stream = new EventSource(document.body.dataset.live);
    const opened = performance.now();
    stream.addEventListener("changed", () => { heard = performance.now(); soon(); });
    stream.addEventListener("beat", e => {
      heard = performance.now();
      clock = { service: Date.parse(e.data), here: heard };
      if (lost || dirty) soon();
    });
    stream.onopen = () => { heard = performance.now(); if (lost || opened - lookedAt > 3e3) soon(); };
    stream.onerror = () => {
      stream.close();
      stream = null;
      setTimeout(() => { if (!stream) connect(); }, again * (1 + Math.random()));
      look(); // Tells whether it is the stream alone, the session, or everything.
    };
  }

  if (!document.body.dataset.live) return;
  TankWatch.look = soon;
  connect();
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) return;
    if (performance.now() - heard > beatWithin) connect();
    look();
  });
  addEventListener("pageshow", e => { if (e.persisted) { connect(); look(); } });
  addEventListener("pagehide", () => { stream?.close(); stream = null; });
  addEventListener("online", () => connect());
  addEventListener("offline", () => setLost(true));
  setInterval(() => {
    if (performance.now() - heard > beatWithin) { setLost(true); heard = performance.now(); connect(); }
    else if (dirty || performance.now() - lookedAt > Math.max(5e3, 60e3 / speed())) soon(); // Time alone moves things too: a minute of the service's.
  }, 5e3);
  setInterval(tellAges, 1e3);
  tellAges();
})();
