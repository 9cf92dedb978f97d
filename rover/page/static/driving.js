// Driving, hold-to-run: while a button or an arrow is held, a word is sent every 50 ms, each with the newest time that the
// runtime has told, so that one that was long under way moves nothing. Letting go in whatever way ends it.

const EVERY_MS = 50;
const ARROWS = { ArrowUp: "forwards", ArrowDown: "backwards", ArrowLeft: "left", ArrowRight: "right" };
const NAMES = [["forwards", 2], ["left", 4], ["right", 6], ["backwards", 8], ["slower", 7], ["faster", 9]];

export class Driving {
  constructor(place, send) {
    this.send = send;
    this.way = "";
    this.stamp = 0;
    this.timer = 0;
    this.mayDrive = false;
    this.buttons = NAMES.map(([way, cell]) => this.button(place, way, cell));
    for (const name of ["blur", "pagehide"]) window.addEventListener(name, () => this.letGo());
    document.addEventListener("visibilitychange", () => this.letGo());
    document.addEventListener("keydown", (event) => this.keyDown(event));
    document.addEventListener("keyup", (event) => { if (ARROWS[event.key] === this.way) this.letGo(); });
  }

  button(place, way, cell) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = way;
    button.dataset.way = way;
    button.style.gridRow = Math.ceil(cell / 3);
    button.style.gridColumn = ((cell - 1) % 3) + 1;
    if (way === "faster" || way === "slower") {
      button.addEventListener("click", () => this.say(way));
    } else {
      button.addEventListener("pointerdown", (event) => { event.preventDefault(); button.setPointerCapture(event.pointerId); this.hold(way); });
      for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) button.addEventListener(name, () => this.letGo());
      button.addEventListener("contextmenu", (event) => event.preventDefault());
      // Enter, held on a focused button, is repeated as in a terminal.
      button.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); this.hold(way); } });
      button.addEventListener("keyup", (event) => { if (event.key === "Enter") this.letGo(); });
      button.addEventListener("blur", () => this.letGo());
    }
    place.append(button);
    return button;
  }

  allow(mayDrive) {
    if (!mayDrive) this.letGo();
    this.mayDrive = mayDrive;
    for (const button of this.buttons) button.disabled = !mayDrive;
  }

  tick(stamp) {
    this.stamp = stamp;
  }

  keyDown(event) {
    const way = ARROWS[event.key];
    if (!way || event.ctrlKey || event.metaKey || event.altKey || event.target instanceof HTMLInputElement) return;
    event.preventDefault(); // the page must not scroll away
    if (!event.repeat) this.hold(way);
  }

  hold(way) {
    if (!this.mayDrive || this.way === way) return;
    this.letGo();
    this.way = way;
    this.mark();
    this.say(way);
    this.timer = setInterval(() => this.say(this.way), EVERY_MS);
  }

  letGo() {
    clearInterval(this.timer);
    if (!this.way) return;
    this.way = "";
    this.mark();
    this.say("");
  }

  say(way) {
    this.send({ push: way, stamp: this.stamp });
  }

  mark() {
    for (const button of this.buttons) button.classList.toggle("pressed", button.dataset.way === this.way);
  }
}
