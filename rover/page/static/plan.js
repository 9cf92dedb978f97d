// What moves on the plan: path, ellipse, objects, things met, the robot. What stands still was drawn by the server.

import { svg } from "./elements.js";

const INK = "#23262b", PAPER = "#fbf9f3", SOFT = "#6d6e6c";
const STEP = 0.02; // m, as in board.py

export class Plan {
  // A view is the picture for a wide or for a narrow screen.
  constructor(place, sheet, view) {
    this.drawn = sheet.plan;
    this.sheet = sheet;
    this.place = view;
    place.innerHTML = view.svg; // drawn by the server; what a person wrote is escaped in it
    const moving = place.querySelector(".moving");
    this.layers = {};
    for (const name of ["trail", "tray", "met", "targets", "robot"]) this.layers[name] = svg(moving, "g", { class: name });
    this.last = null;
    for (const [x, y, state] of sheet.trail) this.goTo(x, y, state);
  }

  at(x, y) {
    const { left, top, west, north, scale } = this.place;
    return [left + (x - west) * scale, top + (north - y) * scale];
  }

  goTo(x, y, state) {
    const outermost = state.split("/")[0];
    const [px, py] = this.at(x, y);
    const last = this.last;
    if (last && last.state === outermost) {
      if (Math.hypot(x - last.x, y - last.y) < STEP) return;
      last.points.push(`${px.toFixed(1)},${py.toFixed(1)}`);
      last.line.setAttribute("points", last.points.join(" "));
      Object.assign(last, { x, y });
      return;
    }
    const [width, dash] = this.drawn.strokes[outermost] ?? [1, "none"];
    const points = last ? [last.points.at(-1)] : [];
    points.push(`${px.toFixed(1)},${py.toFixed(1)}`);
    const line = svg(this.layers.trail, "polyline",
      { points: points.join(" "), fill: "none", stroke: INK, "stroke-width": width, "stroke-dasharray": dash, "stroke-linejoin": "round" });
    this.last = { x, y, state: outermost, points, line };
  }

  tint(kind) {
    return this.drawn.tints[kind] ?? [PAPER, INK];
  }

  letter(parent, px, py, kind, size) {
    svg(parent, "text", { x: px, y: py + size * 0.36, "text-anchor": "middle", fill: this.tint(kind)[1] }, this.drawn.letters[kind] ?? "");
  }

  ellipse(parent, px, py, [major, minor, angle], fill, attributes) {
    if (major === null || minor === null) return;
    const { scale } = this.place;
    const most = 400; // lost altogether: more would only cover the plan
    svg(parent, "ellipse", { cx: px, cy: py, rx: Math.min(most, major * scale), ry: Math.min(most, minor * scale), fill,
      transform: `rotate(${(-angle * 180 / Math.PI).toFixed(1)} ${px} ${py})`, stroke: INK, "stroke-width": 0.9, ...attributes });
  }

  showErrand(errand) {
    const { tray, met, targets } = this.layers;
    for (const layer of [tray, met, targets]) layer.replaceChildren();
    const side = Math.min(Math.max(0.09 * this.place.scale, 9), 16);
    for (const [x, y, kind] of [...errand.filled, ...errand.standing]) {
      const [px, py] = this.at(x, y);
      svg(tray, "rect", { x: px - side / 2, y: py - side / 2, width: side, height: side, fill: this.tint(kind)[0], stroke: INK, "stroke-width": 0.9 });
    }
    for (const [x, y, touched] of errand.met) {
      const [px, py] = this.at(x, y);
      svg(met, "path", { d: `M${px - 6} ${py - 6}l12 12m0 -12l-12 12`, stroke: touched ? INK : SOFT, "stroke-width": touched ? 2.6 : 1.2, fill: "none" });
    }
    for (const [kind, x, y, major, minor, angle, known, chosen, barred] of errand.targets) {
      const [px, py] = this.at(x, y);
      this.ellipse(targets, px, py, [major, minor, angle], this.tint(kind)[0], { "fill-opacity": 0.25, "stroke-dasharray": known ? "none" : "2 2" });
      if (chosen) svg(targets, "circle", { cx: px, cy: py, r: 15, fill: "none", stroke: INK, "stroke-width": 1.6 });
      svg(targets, "circle", { cx: px, cy: py, r: 8.5, fill: this.tint(kind)[0], stroke: INK, "stroke-width": 0.9, opacity: known ? 1 : 0.6 });
      this.letter(targets, px, py, kind, 12);
      if (barred) svg(targets, "path", { d: `M${px - 11} ${py + 11}l22 -22`, stroke: INK, "stroke-width": 1.4 });
    }
  }

  showRobot(now, carried) {
    const layer = this.layers.robot;
    layer.replaceChildren();
    const [x, y, heading] = now.pose;
    if (x === null || y === null || heading === null) return;
    this.goTo(x, y, now.state);
    const [px, py] = this.at(x, y);
    this.ellipse(layer, px, py, now.ellipse, "none", { "stroke-dasharray": "4 3", "stroke-width": 1.3 });
    const { scale } = this.place;
    const body = svg(layer, "g", { transform: `translate(${px.toFixed(1)} ${py.toFixed(1)}) rotate(${-heading})` });
    for (const [back, front, half] of now.loaded ? this.sheet.loaded_parts : this.sheet.parts)
      svg(body, "rect", { x: back * scale, y: -half * scale, width: (front - back) * scale, height: 2 * half * scale, fill: PAPER, stroke: INK, "stroke-width": 1.8 });
    const front = Math.max(...this.sheet.parts.map((part) => part[1])) * scale;
    svg(body, "path", { d: `M0 0H${(front + 10).toFixed(1)}`, stroke: INK, "stroke-width": 1.8 });
    svg(body, "circle", { r: 2.4, fill: INK });
    if (carried) svg(body, "circle", { cx: front - 0.03 * scale, r: Math.max(5, 0.025 * scale), fill: this.tint(carried)[0], stroke: INK });
  }
}
