// The strip under finger, mouse and keys. While it moves, the drawing that is there is pushed and stretched; when it rests, the server draws the new time.
(() => {
  "use strict";
  const shortest = 10 * 60e3, longest = 62 * 86400e3, rest = 180, pointers = new Map();
  let cursor = null, window_ = null, timer = 0, asked = 0, held = null;

  const strip = () => document.querySelector(".strip");
  const times = s => [Date.parse(s.dataset.from), Date.parse(s.dataset.to)];
  const present = s => window_ ?? times(s);
  const mirrored = () => document.documentElement.dir === "rtl";
  const lanes = s => s.querySelector(".axis svg").getBoundingClientRect();
  const share = (s, x) => { const box = lanes(s), p = (x - box.left) / box.width; return mirrored() ? 1 - p : p; };
  const timeAt = (s, x) => { const [from, to] = present(s); return from + share(s, x) * (to - from); };

  function show(s, from, to) {
    const now = Date.parse(s.dataset.now);
    let length = Math.min(longest, Math.max(shortest, to - from));
    if (length !== to - from) { const middle = (from + to) / 2; from = middle - length / 2; to = from + length; }
    if (to > now + length / 2) { to = now + length / 2; from = to - length; }
    window_ = [from, to];
    const [from0, to0] = times(s), k = (to0 - from0) / length, along = (from0 - from) / length, width = lanes(s).width;
    const push = width * (mirrored() ? 1 - k - along : along);
    for (const g of s.querySelectorAll(".moves")) g.style.transform = `translateX(${push}px) scaleX(${k})`;
    if (cursor !== null) cursor < from || cursor > to ? forget(s) : read(s, cursor);
    clearTimeout(timer);
    timer = setTimeout(settle, rest);
  }

  async function settle() {
    const s = strip();
    if (!s || !window_ || pointers.size) return;
    const [from, to] = window_.map(t => new Date(t).toISOString()), turn = ++asked;
    const query = `from=${encodeURIComponent(from)}&to=${encodeURIComponent(to)}`;
    try {
      const answer = await fetch(`${s.dataset.part}&${query}`);
      if (!answer.ok || turn !== asked || pointers.size) return;
      const drawn = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(".strip");
      if (!drawn || turn !== asked || pointers.size) return;
      window_ = null;
      TankWatch.take(s, drawn);
      for (const g of s.querySelectorAll(".moves")) g.style.transform = "";
      const address = new URL(s.dataset.address, location.href);
      address.search += (address.search ? "&" : "?") + query;
      if (new URLSearchParams(location.search).get("dir") === "rtl") address.searchParams.set("dir", "rtl");
      history.replaceState(null, "", address);
      if (cursor !== null) read(s, cursor);
      TankWatch.look();
    } catch {
      // Not connected, and the page says so by itself: back to what is known.
      window_ = null;
      for (const g of s.querySelectorAll(".moves")) g.style.transform = "";
    }
  }

  const zoom = (s, factor, at) => {
    const [from, to] = present(s), p = (at - from) / (to - from), length = Math.min(longest, Math.max(shortest, (to - from) * factor));
    show(s, at - p * length, at + (1 - p) * length);
  };
  const pan = (s, by) => { const [from, to] = present(s); show(s, from + by * (to - from), to + by * (to - from)); };

  // What the marks under a moment say. They carry their places and their words; nothing is worked out here.
  function under(s, at) {
    const [from, to] = times(s), p = (at - from) / (to - from) * 100, x = mirrored() ? 100 - p : p, said = [];
    for (const lane of s.querySelectorAll(".lane:not(.axis)")) {
      const hits = [];
      for (const title of lane.querySelectorAll("title")) {
        const mark = title.parentNode, place = mark.hasAttribute("x") ? mark : mark.querySelector("[x]");
        const left = parseFloat(place.getAttribute("x")), wide = place.getAttribute("width");
        if (wide.endsWith("%") ? x >= left && x <= left + parseFloat(wide) : Math.abs(x - left) < 1) hits.push(title.textContent);
      }
      if (!hits.length && lane.dataset.else) hits.push(lane.dataset.else);
      said.push(...(lane.classList.contains("alerts") ? hits : hits.slice(-2)));
    }
    return said;
  }

  function read(s, at) {
    cursor = at;
    const [from, to] = present(s), line = s.querySelector(".cursor"), p = (at - from) / (to - from) * 100;
    line.hidden = p < 0 || p > 100;
    line.style.insetInlineStart = `${p / 100 * lanes(s).width}px`;
    const clock = new Intl.DateTimeFormat(`${document.documentElement.lang.replace(/^en$/, "en-GB")}-u-nu-latn`, { timeZone: s.dataset.zone, weekday: "short", day: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    s.querySelector(".reading").textContent = `${clock.format(at)}: ${at > Date.parse(s.dataset.now) ? TankWatch.words.later : under(s, at).map(said => said.replace(/[.।]$/, "")).join("; ") + "."}`;
  }

  function forget(s) {
    cursor = null;
    s.querySelector(".cursor").hidden = true;
    s.querySelector(".reading").textContent = "";
  }

  const middle = () => { const points = [...pointers.values()]; return points.reduce((sum, p) => sum + p.x, 0) / points.length; };
  const spread = () => { const [a, b] = [...pointers.values()]; return Math.max(24, Math.abs(a.x - b.x)); };
  const grip = s => { const [from, to] = present(s); held = { from, to, x: middle(), spread: pointers.size > 1 ? spread() : 0, moved: held?.moved ?? false }; };

  document.addEventListener("pointerdown", e => {
    const area = e.target.closest?.(".strip .lanes");
    if (!area || (e.pointerType === "mouse" && e.button)) return;
    pointers.set(e.pointerId, { x: e.clientX });
    held = pointers.size === 1 ? null : held;
    grip(strip());
  });
  document.addEventListener("pointermove", e => {
    const s = strip();
    if (!s) return;
    if (!pointers.has(e.pointerId)) {
      if (e.pointerType === "mouse" && e.target.closest?.(".strip .lanes")) read(s, timeAt(s, e.clientX));
      return;
    }
    pointers.get(e.pointerId).x = e.clientX;
    const box = lanes(s), by = (middle() - held.x) / box.width * (mirrored() ? -1 : 1);
    if (!held.moved && pointers.size === 1 && Math.abs(middle() - held.x) < 6) return;
    if (!held.moved) { held.moved = true; s.querySelector(".lanes").classList.add("held"); s.querySelector(".lanes").setPointerCapture?.(e.pointerId); }
    const k = pointers.size > 1 ? held.spread / spread() : 1, length = (held.to - held.from) * k;
    const p = share(s, held.x), at = held.from + p * (held.to - held.from);
    show(s, at - (p + by) * length, at + (1 - p - by) * length);
  });
  for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, e => {
    const s = strip();
    if (!pointers.delete(e.pointerId) || !s) return;
    if (pointers.size) { grip(s); return; }
    s.querySelector(".lanes").classList.remove("held");
    if (end === "pointerup" && !held.moved) { read(s, timeAt(s, e.clientX)); s.focus({ preventScroll: true }); }
    held = null;
    if (window_) { clearTimeout(timer); timer = setTimeout(settle, rest); }
  });
  document.addEventListener("wheel", e => {
    const s = e.target.closest?.(".strip .lanes") && strip();
    if (!s) return;
    if (e.ctrlKey) { e.preventDefault(); zoom(s, Math.exp(e.deltaY / 200), timeAt(s, e.clientX)); }
    else if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) { e.preventDefault(); pan(s, e.deltaX / lanes(s).width * (mirrored() ? -1 : 1)); }
  }, { passive: false });

  document.addEventListener("keydown", e => {
    const s = strip();
    if (!s || e.target !== s || e.ctrlKey || e.metaKey || e.altKey) return;
    const [from, to] = present(s), length = to - from, now = Date.parse(s.dataset.now), at = cursor ?? Math.min(now, (from + to) / 2);
    const step = (e.shiftKey ? 1 / 12 : 1 / 96) * (mirrored() ? -1 : 1);
    const go = share => {
      const next = Math.min(now, at + share * length);
      cursor = next;
      if (next < from || next > to) pan(s, next < from ? -.25 : .25);
      read(s, next);
    };
    const keys = {
      ArrowRight: () => go(step), ArrowLeft: () => go(-step),
      PageUp: () => pan(s, -1), PageDown: () => pan(s, 1),
      "+": () => zoom(s, .5, at), "=": () => zoom(s, .5, at), "-": () => zoom(s, 2, at),
      Home: () => read(s, from), End: () => { if (now < from || now > to) show(s, now - length, now); read(s, Math.min(now, present(s)[1])); },
      Escape: () => forget(s),
    };
    if (keys[e.key]) { e.preventDefault(); keys[e.key](); }
  });
  document.addEventListener("click", e => {
    const link = e.target.closest?.(".strip [data-move]"), s = strip();
    if (!link || !s || e.ctrlKey || e.metaKey || e.shiftKey || link.dataset.move === "now") return;
    e.preventDefault();
    const [from, to] = present(s), at = cursor !== null && cursor > from && cursor < to ? cursor : (from + to) / 2;
    ({ earlier: () => pan(s, -1), later: () => pan(s, 1), closer: () => zoom(s, .5, at), wider: () => zoom(s, 2, at) })[link.dataset.move]();
  });

  // A page that looks again must not pull the strip from under a finger.
  TankWatch.busy = () => pointers.size > 0 || window_ !== null;
  TankWatch.taken = () => { const s = strip(); if (s && cursor !== null) read(s, cursor); };
})();
