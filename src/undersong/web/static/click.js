// @ts-check
/**
 * The click on its own: laid on the audio clock some seconds ahead, so that a busy page cannot
 * make it late; the timer only tops it up.
 */
import { clickSound, context, pedal, say, soundSoon } from "./common.js";

const AHEAD_S = 2.5;
const TOP_UP_MS = 400;
const FORGET_TAPS_MS = 2500;

class ClickDesk extends HTMLElement {
  #tempo = 72;
  #timer = 0;
  #next = 0; // context time of the next beat
  #beat = 0; // counted from the start
  #base = 0; // the beat at which the tempo was last changed, and its time
  #baseTime = 0;
  /** @type {{ at: number, node: AudioBufferSourceNode }[]} */ #laid = [];
  /** @type {{ at: number, count: number }[]} */ #counts = [];
  /** @type {number[]} */ #taps = [];
  /** @type {GainNode | null} */ #gain = null;
  /** @type {Record<string, AudioBuffer>} */ #sounds = {};

  connectedCallback() {
    soundSoon();
    this.addEventListener("click", (event) => {
      const button = /** @type {HTMLElement} */ (event.target).closest("[data-do]");
      if (button instanceof HTMLElement) this.#do(button.dataset.do ?? "");
    });
    this.addEventListener("change", (event) => {
      const field = /** @type {HTMLInputElement} */ (event.target);
      if (field.matches("[data-figure]")) this.#setTempo(Number(field.value.replace(",", ".")));
      else this.#again();
    });
    document.addEventListener("keydown", (event) => {
      if (pedal(event)) this.#do("go");
    });
  }

  /** @param {string} what */
  #do(what) {
    if (what === "faster") this.#setTempo(this.#tempo + 1);
    else if (what === "slower") this.#setTempo(this.#tempo - 1);
    else if (what === "tap") this.#tap();
    else if (this.#timer) this.#stop();
    else this.#start();
  }

  /** @param {number} tempo */
  #setTempo(tempo) {
    if (!Number.isFinite(tempo)) return say(this, "A tempo is a number of beats a minute.");
    this.#tempo = Math.min(400, Math.max(10, Math.round(tempo * 10) / 10));
    const now = this.querySelector("[data-tempo-now]");
    if (now) now.textContent = String(this.#tempo);
    /** @type {HTMLInputElement} */ (this.querySelector("[data-figure]")).value = String(this.#tempo);
    this.#again();
  }

  #tap() {
    const now = performance.now();
    if (now - (this.#taps[this.#taps.length - 1] ?? 0) > FORGET_TAPS_MS) this.#taps = [];
    this.#taps = [...this.#taps, now].slice(-6);
    if (this.#taps.length < 2) return;
    this.#setTempo(((this.#taps.length - 1) * 60_000) / (now - this.#taps[0]));
  }

  /** @param {string} name */
  #choice(name) {
    return /** @type {HTMLSelectElement} */ (this.querySelector(`[data-${name}]`)).value;
  }

  async #start() {
    const ctx = context();
    await ctx.resume();
    const kinds = ["accent", "beat", "subdivision"];
    const sounds = await Promise.all(kinds.map(clickSound));
    kinds.forEach((kind, place) => (this.#sounds[kind] = sounds[place]));
    this.#gain = ctx.createGain();
    this.#gain.gain.setValueAtTime(0.15, ctx.currentTime); // never at full level from the start
    this.#gain.gain.linearRampToValueAtTime(0.8, ctx.currentTime + 2);
    this.#gain.connect(ctx.destination);
    this.#beat = this.#base = 0;
    this.#baseTime = ctx.currentTime + 0.15;
    this.#topUp();
    this.#timer = window.setInterval(() => this.#topUp(), TOP_UP_MS);
    this.#button.textContent = "Stop";
    requestAnimationFrame(() => this.#show());
  }

  get #button() {
    return /** @type {HTMLElement} */ (this.querySelector('[data-do="go"]'));
  }

  /** @param {number} beat */
  #timeOf(beat) {
    return this.#baseTime + ((beat - this.#base) * 60) / this.#tempo;
  }

  #topUp() {
    const ctx = context();
    const beats = Number(this.#choice("beats"));
    const between = Number(this.#choice("between"));
    const gap = Number(this.#choice("gap"));
    this.#laid = this.#laid.filter((each) => each.at > ctx.currentTime - 1);
    for (; this.#timeOf(this.#beat) < ctx.currentTime + AHEAD_S; this.#beat += 1) {
      const inBar = this.#beat % beats;
      const bar = Math.floor(this.#beat / beats);
      this.#counts.push({ at: this.#timeOf(this.#beat), count: inBar + 1 });
      if (gap && Math.floor(bar / gap) % 2) continue;
      if (this.#isOn(inBar)) this.#lay(inBar ? "beat" : "accent", this.#timeOf(this.#beat));
      for (let part = 1; part < between; part += 1) {
        this.#lay("subdivision", this.#timeOf(this.#beat + part / between));
      }
    }
  }

  /** @param {number} inBar */
  #isOn(inBar) {
    const pattern = this.#choice("pattern");
    if (pattern === "half") return inBar % 2 === 0;
    if (pattern === "back") return inBar % 2 === 1;
    return pattern === "all" || inBar === 0;
  }

  /**
   * @param {string} kind
   * @param {number} at
   */
  #lay(kind, at) {
    const ctx = context();
    if (at < ctx.currentTime || !this.#gain) return;
    const node = ctx.createBufferSource();
    node.buffer = this.#sounds[kind];
    node.connect(this.#gain);
    node.start(at);
    this.#laid.push({ at, node });
  }

  /** Take back what was laid ahead, and lay it anew as it is wanted now. */
  #again() {
    if (!this.#timer) return;
    const now = context().currentTime + 0.02;
    for (const { at, node } of this.#laid) if (at > now) node.stop();
    this.#laid = this.#laid.filter((each) => each.at <= now);
    const coming = this.#counts.find((each) => each.at > now);
    const left = this.#counts.filter((each) => each.at > now).length;
    this.#counts = this.#counts.filter((each) => each.at <= now);
    this.#beat -= left;
    this.#base = this.#beat;
    this.#baseTime = coming ? coming.at : now;
    this.#topUp();
  }

  #show() {
    if (!this.#timer) return;
    const now = context().currentTime;
    let text = null;
    while (this.#counts.length && this.#counts[0].at <= now) {
      text = String(this.#counts.shift()?.count);
    }
    const count = this.querySelector("[data-count]");
    if (text !== null && count) count.textContent = text;
    requestAnimationFrame(() => this.#show());
  }

  #stop() {
    window.clearInterval(this.#timer);
    this.#timer = 0;
    for (const { node } of this.#laid) node.stop();
    this.#laid = [];
    this.#counts = [];
    this.#button.textContent = "Start";
  }
}

customElements.define("click-desk", ClickDesk);
