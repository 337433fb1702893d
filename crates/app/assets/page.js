"use strict";
// Keys, the keypad, what is typed while the server is away. Every page works without this file.
(() => {
  const find = (selector) => document.querySelector(selector);
  const press = (selector) => {
    const found = find(selector);
    if (found) found.click();
    return Boolean(found);
  };
  const typing = (at) => at && at.closest("input:not([type=checkbox]):not([type=radio]), textarea, select");
  const letters = document.body.dataset.letters !== "off";

  // keys
  const go = (address) => { location.assign(address); return true; };
  const turn = (selector, by) => {
    const all = [...document.querySelectorAll(selector)];
    if (all.length === 0) return false;
    const here = all.findIndex((a) => a.hasAttribute("aria-current"));
    const next = all[here < 0 ? (by > 0 ? 0 : all.length - 1) : here + by];
    return next ? go(next.href) : false;
  };
  const rows = (by) => {
    const all = [...document.querySelectorAll(".points .point a, .items .what a, .job a.next, .found a, .sheet.steps a")];
    if (all.length === 0) return false;
    let at = all.indexOf(document.activeElement);
    if (at < 0) at = all.findIndex((a) => a.hasAttribute("aria-current"));
    const next = all[Math.min(all.length - 1, Math.max(0, at + by))];
    next.focus();
    return true;
  };
  const job = location.pathname.match(/^\/job\/\d+/);
  const byLetter = {
    "/": () => go("/find"),
    "?": () => go("/keys"),
    n: () => press("#new"),
    c: () => press("#change"),
    y: () => { const why = find("#why"); if (why) why.open = !why.open; return Boolean(why); },
    s: () => press("#skip"),
    k: () => press("#keep"),
    w: () => press("#watch"),
    r: () => press("#replace"),
    p: () => press("#photo") || (job && go(`${job[0]}/photos`)),
    m: () => press("#note") || (job && go(`${job[0]}/journal#write`)),
    j: () => press("#journal") || (job && go(`${job[0]}/journal`)),
    t: () => press("#clock"),
    z: () => press("#undo") || undo(),
  };
  const undo = () => {
    if (!job) return false;
    const form = document.createElement("form");
    form.method = "post";
    form.action = `${job[0]}/undo`;
    const back = document.createElement("input");
    back.type = "hidden";
    back.name = "back";
    back.value = location.pathname + location.search;
    form.append(back);
    document.body.append(form);
    form.submit();
    return true;
  };
  const figuresOnly = (at) => at && at.id === "shown";
  document.addEventListener("keydown", (event) => {
    if (event.isComposing || event.altKey || event.metaKey) return;
    const at = document.activeElement;
    const key = event.key;
    let done = false;
    if (key === "F2") done = turn(".rail .tags a", -1);
    else if (key === "F4") done = turn(".rail .tags a", 1);
    else if (key === "F8") done = turn(".run a", -1);
    else if (key === "F9") done = turn(".run a", 1);
    else if (key === "Escape") {
      const open = at && at.closest("details[open]");
      if (figuresOnly(at) && at.value !== "") { at.value = ""; at.dispatchEvent(new Event("input", { bubbles: true })); done = true; }
      else if (typing(at)) { at.blur(); done = true; }
      else if (open) { open.open = false; done = true; }
    } else if (event.ctrlKey) return;
    else if (key === "Enter" && (!at || at === document.body || at.id === "page")) done = press("#primary");
    else if (/^[1-9]$/.test(key) && !typing(at)) {
      done = press(`[data-digit="${key}"]`) || answer(Number(key));
    } else if ((key === "ArrowUp" || key === "ArrowDown") && !typing(at)) done = rows(key === "ArrowUp" ? -1 : 1);
    else if (letters && byLetter[key] && (!typing(at) || (figuresOnly(at) && at.value === "" && /^[cyspmjtz]$/.test(key)))) done = Boolean(byLetter[key]());
    if (done) event.preventDefault();
  });
  const answer = (n) => {
    const all = document.querySelectorAll(".problems .answers button");
    if (!all[n - 1]) return false;
    all[n - 1].click();
    return true;
  };

  // one panel of the conditions at a time, where the browser does not see to it
  document.addEventListener("toggle", (event) => {
    if (event.target.matches && event.target.matches(".conditions details") && event.target.open) {
      for (const other of document.querySelectorAll(".conditions details[open]")) {
        if (other !== event.target) other.open = false;
      }
    }
  }, true);

  // the part under the probe, brought into sight on the drawing
  const drawn = find(".drawn[data-here]");
  if (drawn && drawn.dataset.here) {
    const name = drawn.dataset.here.split(" ")[0].replace(/[.].*$/, "");
    const paper = drawn.querySelector(".paper");
    const part = [...drawn.querySelectorAll("[data-part]")].find((p) => p.dataset.part.replace(/[.].*$/, "") === name);
    const ring = drawn.querySelector("#here");
    if (part && !ring) part.classList.add("here");
    if ((ring || part) && paper) {
      const box = (ring || part).getBoundingClientRect();
      const frame = paper.getBoundingClientRect();
      paper.scrollLeft += box.left - frame.left - frame.width / 2;
      paper.scrollTop += box.top - frame.top - frame.height / 2;
    }
  }

  // the small whole drawing: a frame around what is in sight, a press brings another place there
  const sight = (paper) => {
    const svg = paper.querySelector("svg");
    const map = paper.parentElement.querySelector(".map");
    const frame = map && map.querySelector(".frame");
    if (!svg || !frame) return null;
    const box = svg.viewBox.baseVal;
    const scale = box.width / svg.getBoundingClientRect().width;
    return { svg, map, frame, box, scale };
  };
  const frameOf = (paper) => {
    const s = sight(paper);
    if (!s) return;
    const set = (name, value) => s.frame.setAttribute(name, String(value));
    set("x", s.box.x + paper.scrollLeft * s.scale);
    set("y", s.box.y + paper.scrollTop * s.scale);
    set("width", Math.min(paper.clientWidth * s.scale, s.box.width));
    set("height", Math.min(paper.clientHeight * s.scale, s.box.height));
  };
  const frames = () => { for (const paper of document.querySelectorAll(".drawn .paper")) frameOf(paper); };
  document.addEventListener("scroll", (event) => { if (event.target.matches && event.target.matches(".paper")) frameOf(event.target); }, true);
  document.addEventListener("drawn", frames);
  addEventListener("resize", frames);
  document.addEventListener("click", (event) => {
    const map = event.target.closest && event.target.closest(".drawn .map");
    if (!map) return;
    const paper = map.parentElement.querySelector(".paper");
    const s = sight(paper);
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(map.getScreenCTM().inverse());
    paper.scrollLeft = (at.x - s.box.x) / s.scale - paper.clientWidth / 2;
    paper.scrollTop = (at.y - s.box.y) / s.scale - paper.clientHeight / 2;
  });
  frames();

  // the keypad
  const shown = find("#shown");
  const small = matchMedia("(max-width: 760px)");
  if (shown && find(".pad") && small.matches) shown.inputMode = "none";
  document.addEventListener("click", (event) => {
    const key = event.target.closest && event.target.closest("[data-key]");
    if (!key || !shown) return;
    const what = key.dataset.key;
    if (what === "skip") { press("#skip"); return; }
    if (what === "erase") shown.value = shown.value.slice(0, -1);
    else if (what === "\u2212") shown.value = shown.value.startsWith("-") ? shown.value.slice(1) : `-${shown.value}`;
    else shown.value += what;
    shown.dispatchEvent(new Event("input", { bubbles: true }));
  });

  // readings that could not be written wait here, in order, until the server is back
  const strip = find("#unsaved");
  const KEPT = "readings-held";
  const held = () => {
    try { return JSON.parse(localStorage.getItem(KEPT)) || []; } catch { return []; }
  };
  const keep = (list) => localStorage.setItem(KEPT, JSON.stringify(list));
  const tell = () => {
    const n = held().length;
    if (!strip) return;
    strip.hidden = n === 0;
    strip.textContent = n === 0 ? "" : `Not saved: ${n === 1 ? "1 reading" : `${n} readings`} held here. Trying again.`;
  };
  const send = (address, body) => fetch(address, { method: "POST", body: new URLSearchParams(body), redirect: "follow" });
  let trying = false;
  const again = async () => {
    if (trying || held().length === 0) return;
    trying = true;
    try {
      while (held().length > 0) {
        const [first, ...rest] = held();
        const answered = await send(first.address, first.body);
        keep(rest);
        if (!answered.ok) {
          strip.hidden = false;
          strip.textContent = `The reading ${first.point} ${first.shown} was not taken: open the chart and type it again.`;
          trying = false;
          return;
        }
      }
      tell();
      location.reload();
    } catch { /* still away */ }
    trying = false;
  };
  const reading = find("form#reading");
  if (reading) {
    reading.addEventListener("submit", async (event) => {
      event.preventDefault();
      const body = [...new FormData(reading)];
      const value = (name) => (body.find(([n]) => n === name) || ["", ""])[1];
      try {
        const answered = await send(reading.action, body);
        if (answered.ok && answered.redirected) { location.assign(answered.url); return; }
        // a question, or what was wrong: the page that came says it
        const page = new DOMParser().parseFromString(await answered.text(), "text/html");
        const entry = page.querySelector(".entry");
        if (entry) {
          reading.closest(".entry").replaceWith(document.importNode(entry, true));
          const first = find(".slip button");
          if (first) first.focus();
        } else {
          const problem = page.querySelector("#page");
          const verdict = find("#verdict");
          verdict.replaceChildren();
          const words = document.createElement("p");
          words.className = "not-read";
          words.textContent = problem ? [...problem.querySelectorAll("h1, h1 + p")].map((e) => e.textContent).join(" ") : "It was not written. Try again.";
          verdict.append(words);
          shown.focus();
        }
      } catch {
        keep([...held(), { address: reading.action, body, point: value("point"), shown: value("shown") }]);
        tell();
        onward(value("point"));
      }
    });
  }
  // on to the next row without a server
  const onward = (point) => {
    const names = [...document.querySelectorAll(".points .point a")].map((a) => a.textContent);
    const waiting = held().map((h) => h.point);
    const next = names.slice(names.indexOf(point) + 1).find((n) => !waiting.includes(n));
    const field = reading.querySelector("[name=point]");
    const title = find(".point-now");
    if (next && field && field.type === "hidden") {
      field.value = next;
      if (title) title.textContent = next;
      for (const old of reading.querySelectorAll("[name=corrects], [name=unit]")) old.remove();
    }
    shown.value = "";
    find("#wide").replaceChildren();
    find("#verdict").replaceChildren();
    shown.focus();
  };
  tell();
  setInterval(again, 3000);
})();
