// What a person does here. Everything is asked for, and shown only once the runtime says that it is so. A stop is sent
// by every way there is, and needs no token.

import { Driving } from "./driving.js";

const by = (id) => document.getElementById(id);
const KEYS = { h: "hold", r: "reset", g: "go-on", y: "yes", n: "no" };
const STORED = "rover page token";
const OFFERED = {
  enable: (now) => now.phase === "not enabled" && now.may_enable, // before, nobody would listen
  hold: (now) => now.phase === "running",
  reset: (now) => now.phase === "stopped" || now.phase === "resetting",
  "go-on": (now) => now.phase === "held" || now.phase === "ready",
};

function drivenBy(now) {
  const speed = `speed ${Math.round(100 * (now.speed ?? 0))} %`;
  const held = now.held_back?.length ? `; held back: ${now.held_back.join(", ")}` : "";
  return now.phase === "running" ? `${speed}${now.driver ? `; ${now.driver} drives` : ""}${held}` : "motion is not permitted";
}

export class Controls {
  constructor(reconnect) {
    this.reconnect = reconnect;
    this.isRefused = false;
    this.mayAct = false;
    this.acts = [];
    this.link = null;
    this.token = this.readToken();
    by("stop-form").addEventListener("submit", (event) => { event.preventDefault(); this.stop(); });
    by("ask-token").addEventListener("submit", (event) => { event.preventDefault(); this.useToken(by("token").value.trim()); });
    for (const button of document.querySelectorAll("[data-act]")) button.addEventListener("click", () => this.act(button.dataset.act));
    document.addEventListener("keydown", (event) => this.press(event), { capture: true });
  }

  // From the address, behind '#', where it is sent to nobody; kept for this tab, and taken out of the address.
  readToken() {
    const given = decodeURIComponent(location.hash.slice(1));
    if (given) {
      sessionStorage.setItem(STORED, given);
      history.replaceState(null, "", location.pathname);
    }
    return sessionStorage.getItem(STORED) ?? "";
  }

  useToken(token) {
    this.token = token;
    sessionStorage.setItem(STORED, token);
    this.isRefused = false;
    by("ask-token").hidden = true;
    this.notice("");
    this.reconnect();
  }

  may(mayAct) {
    this.mayAct = mayAct;
    this.isRefused = false;
    by("ask-token").hidden = mayAct;
    if (mayAct) this.notice("");
  }

  refuse(why) {
    this.isRefused = true;
    by("ask-token").hidden = false;
    this.notice(why);
  }

  offer(acts, drives) {
    this.acts = acts;
    by("driving").hidden = !drives;
    if (drives) this.driving ??= new Driving(by("pad"), (word) => this.say(word));
    for (const button of document.querySelectorAll("#acts [data-act]")) button.hidden = !acts.includes(button.dataset.act);
  }

  stand(now) {
    for (const button of document.querySelectorAll("#acts [data-act]"))
      button.disabled = !this.mayAct || !OFFERED[button.dataset.act](now);
    for (const button of document.querySelectorAll("#question [data-act]")) button.disabled = !this.mayAct;
    this.driving?.allow(this.mayAct && now.phase === "running");
    if (this.driving) by("driver").textContent = drivenBy(now);
  }

  lose() {
    this.mayAct = false;
    this.driving?.allow(false);
    for (const button of document.querySelectorAll("[data-act]")) button.disabled = true;
  }

  tick({ stamp }) {
    this.driving?.tick(stamp);
  }

  say(word) {
    if (this.link?.readyState === WebSocket.OPEN) this.link.send(JSON.stringify(word));
  }

  notice(text) {
    const place = by("notice");
    place.hidden = !text;
    if (place.textContent !== text) place.textContent = text;
  }

  press(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target instanceof HTMLInputElement) return;
    const key = event.key.toLowerCase();
    if (key === " " || key === "s") {
      event.preventDefault();
      if (!event.repeat) this.stop();
    } else if (KEYS[key] && !event.repeat && this.mayAct && this.acts.includes(KEYS[key])) {
      this.act(KEYS[key]);
    }
  }

  async stop() {
    await this.post("/stop", {}, "NOT STOPPED by the page: it cannot be reached. Use the stop on the robot.");
  }

  async act(act) {
    await this.post(`/act/${act}`, { Authorization: `Bearer ${this.token}` }, `'${act}' did not get there`);
  }

  async post(where, headers, otherwise) {
    try {
      const answer = await fetch(where, { method: "POST", headers, keepalive: true });
      const { text } = await answer.json();
      this.notice(answer.ok ? "" : text);
    } catch {
      this.notice(otherwise);
    }
  }
}
