// What the present state waits for: each exit with how far it is from firing. A bar tells how near a number is to its
// threshold, and the words beside it tell the same.

import { put, svg } from "./elements.js";

const BAR = 120;

export function showExits(body, place, now, told) {
  put(place, now.state ? `in ${now.state} for ${now.since.toFixed(1)} s` : "the behaviour has not begun");
  const exits = told?.state === now.state ? told.exits : []; // those of a state that was left say nothing
  while (body.rows.length > exits.length) body.deleteRow(-1);
  exits.forEach((one, index) => show(body.rows[index] ?? made(body), one));
}

function made(body) {
  const row = body.insertRow();
  for (let column = 0; column < 4; column += 1) row.insertCell();
  return row;
}

function show(row, one) {
  const [text, now, confirmed, go] = row.cells;
  put(text, one.text);
  put(confirmed, one.confirmed || (one.left_s === null ? "at once" : ""));
  put(go, one.go);
  row.classList.toggle("amiss", one.near || one.holds === true);
  row.classList.toggle("none", one.silent);
  const lines = one.silent ? [["silent in this state", null]]
    : one.left_s !== null ? [[`${one.left_s.toFixed(1)} s left`, null]]
    : one.holds === null ? [["not known", null], ...one.lacks.map((lack) => [lack, null])]
    : one.parts.map(([words, holds, nearness]) => [`${words}: ${holds === null ? "not known" : holds ? "holds" : "not yet"}`, nearness]);
  while (now.children.length > lines.length) now.lastChild.remove();
  lines.forEach(([words, nearness], index) => line(now.children[index] ?? now.appendChild(document.createElement("div")), words, nearness));
}

function line(place, words, nearness) {
  if (!place.firstChild) place.append(document.createElement("span"));
  put(place.firstChild, words);
  let bar = place.querySelector("svg");
  if (nearness === null) return bar?.remove();
  if (!bar) {
    bar = svg(place, "svg", { class: "nearness", viewBox: `0 0 ${BAR} 8`, "aria-hidden": "true", preserveAspectRatio: "none" });
    svg(bar, "path", { d: `M0 4H${BAR}M${BAR - 0.8} 0V8`, stroke: "currentColor", "stroke-width": 1.2 });
    svg(bar, "rect", { y: 2, height: 4, fill: "currentColor" });
  }
  bar.lastChild.setAttribute("width", (BAR * nearness).toFixed(1));
  return bar;
}
