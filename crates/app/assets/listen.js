"use strict";
// Several tracks run side by side, one of them heard: Space goes to the next at the same moment. Without this file each
// track has its own controls.
(() => {
  const waiting = document.querySelector("#waiting");
  if (waiting) setTimeout(() => location.replace(waiting.dataset.again), 1000);
  const tracks = [...document.querySelectorAll("#tracks [data-track]")];
  const sounds = tracks.map((t) => t.querySelector("audio"));
  const button = document.querySelector("#tracks [data-next]");
  if (!button || sounds.length < 2) return;
  button.hidden = false;
  let here = -1;
  const say = () => {
    tracks.forEach((t, at) => { if (at === here) t.setAttribute("aria-current", "true"); else t.removeAttribute("aria-current"); });
    const next = (here + 1) % sounds.length;
    button.querySelector(".what").textContent = here < 0 ? "Hear 1, then 2" : `Hear ${next + 1}: ${tracks[next].querySelector(".label").textContent.replace(/^\d+ /, "")}`;
  };
  const next = () => {
    const before = sounds[here];
    const goesOn = before && !before.paused && !before.ended;
    const at = goesOn ? before.currentTime : 0;
    here = (here + 1) % sounds.length;
    if (before) before.pause();
    sounds[here].currentTime = at;
    // another press may stop it before it begins
    sounds[here].play().catch(() => {});
    say();
  };
  sounds.forEach((sound, at) => sound.addEventListener("play", () => {
    for (const other of sounds) if (other !== sound) other.pause();
    here = at;
    say();
  }));
  button.addEventListener("click", next);
  document.addEventListener("keydown", (event) => {
    const at = document.activeElement;
    if (event.key !== " " || event.ctrlKey || event.altKey || event.metaKey) return;
    if (at && at !== document.body && at.id !== "page" && at !== button && at.closest("input, textarea, select, button, a, summary, audio")) return;
    event.preventDefault();
    next();
  });
})();
