"use strict";
// The wiring's text: line numbers, what it means while it is typed, answers, saving in place.
(() => {
  const form = document.querySelector("#wiring");
  if (!form) return;
  const text = form.querySelector("#text");
  const lines = form.querySelector(".lines");
  const look = document.querySelector("#look");
  const base = form.querySelector("[name=base]");
  const KEPT = `wiring-${form.dataset.job}-${form.dataset.state}`;
  let saved = text.value;

  const saved_words = (words) => {
    const place = document.querySelector("#saved");
    if (place) place.textContent = words;
  };
  const number = () => {
    const count = text.value.split("\n").length;
    if (lines.dataset.count !== String(count)) {
      lines.dataset.count = String(count);
      lines.textContent = Array.from({ length: count }, (_, i) => i + 1).join("\n");
    }
    lines.scrollTop = text.scrollTop;
  };
  const lineAt = (place) => text.value.slice(0, place).split("\n").length;

  // asked once at a time, the last text wins
  let busy = false;
  let due = false;
  let tidy = false;
  const ask = async () => {
    if (busy) { due = true; return; }
    busy = true;
    due = false;
    const afresh = tidy;
    tidy = false;
    try {
      const answer = await fetch(form.dataset.look, {
        method: "POST",
        body: new URLSearchParams({
          text: text.value, line: String(lineAt(text.selectionStart)), state: form.dataset.state, ...(afresh ? { tidy: "yes" } : {}),
        }),
      });
      if (answer.ok) show(await answer.text());
    } catch { /* the text stays; it is asked again with the next key */ }
    busy = false;
    if (due) ask();
  };
  const show = (html) => {
    const came = new DOMParser().parseFromString(html, "text/html");
    const counts = came.querySelector("#counts");
    const here = document.querySelector("#counts");
    if (counts && here) {
      const words = document.querySelector("#saved");
      counts.remove();
      here.replaceChildren(...[...counts.childNodes].map((n) => document.importNode(n, true)));
      if (text.value === saved && words) saved_words(words.textContent);
    }
    const paper = look.querySelector(".paper");
    const at = paper ? [paper.scrollLeft, paper.scrollTop] : [0, 0];
    const open = [...look.querySelectorAll("details[open]")].map((d) => d.className);
    look.replaceChildren(...[...came.body.childNodes].map((n) => document.importNode(n, true)));
    for (const d of look.querySelectorAll("details")) d.open = open.includes(d.className);
    const now = look.querySelector(".paper");
    if (now) [now.scrollLeft, now.scrollTop] = at;
    point();
    document.dispatchEvent(new Event("drawn"));
  };
  // brackets around parts, and the number of the line beside the first of them
  const bracket = (svg, parts, line) => {
    const old = svg.querySelector(".pointed");
    if (old) old.remove();
    if (parts.length === 0 || parts.length > 6) return;
    const group = document.createElementNS(svg.namespaceURI, "g");
    group.setAttribute("class", "pointed");
    const add = (name, attributes) => {
      const made = document.createElementNS(svg.namespaceURI, name);
      for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
      group.append(made);
      return made;
    };
    parts.forEach((part, i) => {
      const b = part.getBBox();
      const [l, t, r, u] = [b.x - 8, b.y - 4, b.x + b.width + 8, b.y + b.height + 4];
      add("path", { d: `M${l + 9} ${t}H${l}V${u}H${l + 9}M${r - 9} ${t}H${r}V${u}H${r - 9}` });
      if (i === 0) add("text", { x: r + 6, y: t + 14 }).textContent = `line ${line}`;
    });
    svg.append(group);
  };
  // the parts of the line under the cursor, marked and brought into sight
  const point = () => {
    const drawn = look.querySelector(".drawn");
    if (!drawn) return;
    const words = (text.value.split("\n")[lineAt(text.selectionStart) - 1] || "").replace(/#.*/, "")
      .split(/[\s[\]|]+/).map((w) => w.replace(/^\+/, "").replace(/[.+].*$/, ""));
    const paper = drawn.querySelector(".paper");
    let first = null;
    const marked = [];
    for (const part of drawn.querySelectorAll(".paper [data-part]")) {
      const here = words.includes(part.dataset.part.replace(/[.].*$/, ""));
      part.classList.toggle("here", here);
      if (here) marked.push(part);
      if (here && !first) first = part;
    }
    const svg = drawn.querySelector(".paper svg");
    if (svg) bracket(svg, marked, lineAt(text.selectionStart));
    if (first && paper) {
      const box = first.getBoundingClientRect();
      const frame = paper.getBoundingClientRect();
      if (box.left < frame.left || box.right > frame.right) paper.scrollLeft += box.left - frame.left - frame.width / 2;
      if (box.top < frame.top || box.bottom > frame.bottom) paper.scrollTop += box.top - frame.top - frame.height / 2;
    }
  };

  // a part pressed in one view is marked in both and brought into sight in the other
  look.addEventListener("click", (event) => {
    // Enter presses the link round a part, a pointer what is drawn inside it
    const link = event.target.closest(".sits a");
    const pressed = event.target.closest("[data-part]") || (link && link.querySelector("[data-part]"));
    if (!pressed) return;
    const base = (p) => p.dataset.part.replace(/[.].*$/, "");
    const there = pressed.closest(".sits") ? ".paper" : ".sits";
    event.preventDefault();
    let first = null;
    for (const part of look.querySelectorAll("[data-part]")) {
      const here = base(part) === base(pressed);
      part.classList.toggle("here", here);
      if (here && !first && part.closest(there)) first = part;
    }
    if (first) first.scrollIntoView({ block: "nearest", inline: "center" });
  });

  // typed text stays in the browser until it is saved
  let pause = 0;
  const changed = () => {
    number();
    try { localStorage.setItem(KEPT, JSON.stringify({ base: base.value, text: text.value })); } catch { /* no room */ }
    saved_words(text.value === saved ? "saved" : "not saved yet");
    clearTimeout(pause);
    pause = setTimeout(ask, 120);
  };
  const save = async () => {
    const now = text.value;
    const body = new URLSearchParams(new FormData(form));
    body.set("quiet", "yes");
    try {
      const answer = await fetch(form.action, { method: "POST", body });
      if (answer.status === 200) {
        base.value = (await answer.text()).trim();
        saved = now;
        if (text.value === saved) localStorage.removeItem(KEPT);
        saved_words(text.value === saved ? "saved" : "not saved yet");
      } else if (answer.status === 205) {
        localStorage.removeItem(KEPT);
        saved = text.value;
        location.reload();
      } else if (answer.status === 409) {
        localStorage.removeItem(KEPT);
        saved = text.value;
        location.assign(await answer.text());
      } else saved_words("not saved: open the page again and try");
    } catch {
      saved_words("not saved: the program does not answer; the text is kept here");
      setTimeout(() => { if (text.value !== saved) save(); }, 3000);
    }
  };
  const put = (from, to, by) => {
    text.focus();
    text.setRangeText(by, from, to, "end");
    changed();
  };

  text.addEventListener("input", changed);
  text.addEventListener("scroll", number);
  document.addEventListener("selectionchange", () => { if (document.activeElement === text) point(); });
  form.addEventListener("submit", (event) => { event.preventDefault(); save(); });
  document.addEventListener("click", (event) => {
    const way = event.target.closest && event.target.closest(".answers button");
    if (way) { put(Number(way.dataset.from), Number(way.dataset.to), way.dataset.by); return; }
    // parts stay where they are while one types; all are laid out afresh on request
    if (event.target.closest && event.target.closest("#tidy")) {
      event.preventDefault();
      tidy = true;
      ask();
      return;
    }
    const loose = event.target.closest && event.target.closest("#loose");
    if (loose) {
      const end = text.value.replace(/\s*$/, "").length;
      put(end, text.value.length, `\n${loose.dataset.end} - `);
      text.scrollTop = text.scrollHeight;
      return;
    }
    const place = event.target.closest && event.target.closest("a.place");
    if (place) {
      event.preventDefault();
      const item = place.closest("li");
      text.focus();
      text.setSelectionRange(Number(item.dataset.from), Number(item.dataset.to));
      text.scrollTop = (Number(place.dataset.line) - 6) * 24;
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey && event.key === "s") { event.preventDefault(); save(); }
    if (event.ctrlKey && event.key === "Enter") {
      event.preventDefault();
      const loose = document.querySelector("#loose");
      if (loose) loose.click();
    }
    if (event.key === "Tab" && !event.shiftKey && document.activeElement === text) {
      const first = document.querySelector(".problems .answers button") || document.querySelector(".problems a.place");
      if (first) { event.preventDefault(); first.focus(); }
    }
  });
  addEventListener("beforeunload", (event) => { if (text.value !== saved) event.preventDefault(); });

  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    if (kept && kept.text !== saved) {
      // typed here before, never saved: on its own base, so a save joins the two or shows both
      text.value = kept.text;
      base.value = kept.base;
      changed();
      saved_words("not saved yet: typed here before");
    }
  } catch { /* nothing kept */ }
  number();
  point();
  // on a phone the drawing stays in sight, and no keyboard comes up unasked
  if (!matchMedia("(max-width: 760px)").matches) text.focus();
})();
