// The operator page: what the runtime tells is put in its place, nothing is worked out here. One live connection brings
// all; when it breaks, the page says so in large letters and tries again.

import { Plan } from "./plan.js";
import { Controls } from "./controls.js";
import { put, rows } from "./elements.js";
import { showExits } from "./exits.js";

const TRY_AGAIN_MS = 1000, SILENT_MS = 3000, MOST_EVENTS = 200;
const NARROW = matchMedia("(max-width: 700px)");
const by = (id) => document.getElementById(id);

const controls = new Controls(reconnect);
let plan = null, sheet = null, errand = null, exits = null, now = null, ended = "", heard = 0, live = null, showing = 0;

function connect() {
  const link = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live`);
  live = link;
  link.binaryType = "blob";
  link.onopen = () => link.send(JSON.stringify({ token: controls.token }));
  link.onmessage = (message) => { heard = performance.now(); take(message.data); };
  link.onclose = () => {
    if (live !== link) return;
    live = null;
    controls.lose();
    stand();
    if (!controls.isRefused) setTimeout(connect, TRY_AGAIN_MS);
  };
  controls.link = link;
}

function reconnect() {
  const before = live;
  live = null;
  before?.close();
  connect();
}

function take(data) {
  if (data instanceof Blob) return showPicture(data);
  const facts = JSON.parse(data);
  ({ you, refused, sheet: begin, now: showNow, exits: (one) => { exits = one; }, errand: showErrand, event: showEvent, end, tick: (one) => controls.tick(one) })[facts.kind]?.(facts);
}

function you(facts) {
  controls.may(facts.may_act);
}

function refused(facts) {
  controls.refuse(facts.text);
  stand();
}

function begin(facts) {
  sheet = facts;
  ended = "";
  by("title").textContent = facts.title;
  document.title = `${facts.title}: operator page`;
  draw();
  by("events").tBodies[0].replaceChildren();
  controls.offer(facts.acts, facts.drives);
  by("waits").hidden = !facts.behaviour;
  if (facts.graph) {
    by("graph").hidden = false;
    by("drawing").innerHTML = facts.graph;
    active = "";
  }
}

// The trail that is in the sheet goes on with what has come since.
function draw() {
  plan = sheet?.plan ? new Plan(by("plan"), sheet, NARROW.matches ? sheet.plan.narrow : sheet.plan.wide) : null;
  if (errand) plan?.showErrand(errand);
  if (now) plan?.showRobot(now, errand?.carried);
}
NARROW.addEventListener("change", reconnect); // brings the whole trail again

function end(facts) {
  ended = facts.text;
  addEvent(now?.t, "end", facts.text);
  stand();
}

function stand() {
  const silent = !live || performance.now() - heard > SILENT_MS;
  const place = by("standing");
  let text;
  if (ended) text = `ended: ${ended}`;
  else if (controls.isRefused) text = "not connected";
  else if (silent) text = "NOT CONNECTED: nothing here is up to date, and the page may not be able to stop the robot";
  else if (!now) text = "connected";
  else if (now.waits_for) text = now.waits_for;
  else text = now.phase === "running" ? (sheet?.behaviour ? `running: ${now.state || "not begun"}` : "running") : `${now.phase.toUpperCase()}: ${now.cause}`;
  if (place.textContent !== text) place.textContent = text;
  place.classList.toggle("stands", !ended && (silent || (now && now.phase !== "running")));
}

function showNow(facts) {
  now = facts;
  if (showing) return;
  showing = requestAnimationFrame(() => {
    showing = 0;
    stand();
    plan?.showRobot(now, errand?.carried);
    showBlock();
    showExits(by("exits").tBodies[0], by("state"), now, exits);
    showDevices();
    showRecognised();
    showQuestion();
    highlight();
    controls.stand(now);
  });
}

function showErrand(facts) {
  errand = facts;
  plan?.showErrand(facts);
}

const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
const figure = (value, digits, unit) => (value === null || value === undefined ? "unknown" : `${value.toFixed(digits).replace("-", "\u2212")} ${unit}`);

function showBlock() {
  const [x, y, heading] = now.pose ?? [], { rate, worst_ms, late } = now.timing ?? {};
  const battery = now.devices.find(([name]) => name === "battery");
  const of = errand?.expected ?? null;
  cells([
    [sheet.behaviour ? "Errand" : "Session", sheet.title, true], ["Robot", sheet.robot, true],
    ...(sheet.behaviour ? [["Behaviour", sheet.behaviour, true]] : []),
    ["Where", [sheet.host, ...Object.entries(sheet.about).map(([name, value]) => (name === "pace" ? value : `${name} ${value}`))].join(", "), true],
    ["Time / min:s", clock(now.t)],
    ...(!sheet.behaviour ? [] : [["Delivered", errand ? `${errand.delivered}${of === null ? "" : ` of ${of}`}${errand.believed ? `, ${errand.believed} only believed` : ""}` : "unknown"],
    ["Carries", errand?.carried ?? "nothing"]]),
    ["Battery", battery ? battery[4] : "none"],
    ...(now.pose ? [
      ["Position", `${figure(x, 2, "m")}, ${figure(y, 2, "m")}`], ["Heading", `${figure(heading, 1, "deg")} ± ${figure(now.sigma, 1, "deg")}`],
      ["Position, 95 %", `± ${figure(now.ellipse[0], 2, "m")}`]] : []),
    ...(now.duties ? [["Wheels, left and right", now.duties.map((one) => `${Math.round(100 * one)} %`.replace("-", "\u2212")).join(", ")]] : []),
    ["Loop", rate ? `${rate.toFixed(0)} steps/s, longest ${worst_ms.toFixed(0)} ms, ${late} late` : "measuring"],
  ]);
}

function cells(rows) {
  const list = by("cells");
  if (list.childElementCount !== rows.length) {
    list.replaceChildren(...rows.map(([name, , wide]) => {
      const cell = document.createElement("div");
      cell.className = wide ? "wide" : "";
      cell.append(document.createElement("dt"), document.createElement("dd"));
      cell.firstChild.textContent = name;
      return cell;
    }));
  }
  rows.forEach(([, value], index) => put(list.children[index].lastChild, String(value)));
}

function showDevices() {
  const body = by("devices").tBodies[0];
  rows(body, now.devices.map(([name, health, why, age, said]) =>
    [name.replaceAll("_", " "), why && health !== "ok" ? `${health}: ${why}` : health, age === null ? "never" : age.toFixed(1), said]), 4);
  now.devices.forEach(([, health], index) => {
    body.rows[index].classList.toggle("amiss", health !== "ok");
    body.rows[index].cells[2].className = "figure";
  });
}

function showRecognised() {
  const seen = (now.seen ?? []).map(([kind, distance, bearing]) => `${kind} at ${figure(distance, 2, "m")}, ${figure(bearing, 1, "deg")}`);
  put(by("recognised"), seen.length ? seen.join("; ") : "nothing recognised in the latest frame");
}

let shown = "";
function showPicture(blob) {
  const before = shown;
  shown = URL.createObjectURL(blob);
  by("picture").src = shown;
  by("picture").hidden = false;
  if (before) URL.revokeObjectURL(before);
}

function showQuestion() {
  by("question").hidden = !now.question;
  put(by("asked"), now.question ? `The errand asks: ${now.question}` : "");
}

let active = "";
function highlight() {
  if (active === now.state) return;
  active = now.state;
  const lineage = active.split("/").map((_, depth, parts) => parts.slice(0, depth + 1).join("/"));
  for (const one of by("drawing").querySelectorAll("[data-state]"))
    one.classList.toggle("active", lineage.includes(one.dataset.state));
  const drawing = by("drawing"), innermost = [...drawing.querySelectorAll(".state.active")].at(-1);
  if (innermost) drawing.scrollTop += innermost.getBoundingClientRect().top - drawing.getBoundingClientRect().top - 40;
}

function addEvent(at, what, text) {
  const body = by("events").tBodies[0], row = body.insertRow(0);
  [at === undefined ? "" : clock(at), what, text].forEach((one, index) => {
    row.insertCell().textContent = one;
    if (index === 0) row.cells[0].className = "figure";
  });
  if (body.rows.length > MOST_EVENTS) body.deleteRow(-1);
}

function showEvent({ t, what, text }) {
  addEvent(t, what, text);
}

setInterval(stand, 500);
connect();
