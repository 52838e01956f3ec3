// @ts-check
/**
 * Practising freely: the page listens for some minutes without click or marker, says when to rest, and
 * shows afterwards what was practised.
 */
import { Asks } from "./asks.js";
import { Capture } from "./capture.js";
import { fetchJson, paragraphs, pedal, say, watchLevel } from "./common.js";
import { judged } from "./elsewhere.js";
import { TakeStream } from "./takestream.js";

const SHORT_OF_MOST_S = 5; // so that the whole of it is taken in
const QUIET = 0.01;
const QUIET_AFTER_S = 15;

/** @typedef {{ after_s: number, text: string }} Rest */

class AloneDesk extends HTMLElement {
  #capture = new Capture();
  #asks = new Asks(this);
  /** @type {TakeStream | null} */ #take = null;
  /** @type {"idle" | "playing" | "judging"} */ #state = "idle";
  #peak = 0;
  #loudest = 0;
  #length_s = 0;
  #shown = "";
  #takeId = 0;
  /** @type {Rest[]} */ #rests = [];

  connectedCallback() {
    this.addEventListener("click", (event) => {
      const button = /** @type {HTMLElement} */ (event.target).closest("[data-do]");
      if (button instanceof HTMLElement) this.#do(button.dataset.do ?? "");
    });
    document.addEventListener("keydown", (event) => this.#key(event));
    this.#part("[data-file]").addEventListener("change", (event) => {
      this.#fromElsewhere(/** @type {HTMLInputElement} */ (event.target));
    });
    this.#capture.onblock = (frame, samples, time_s) => this.#block(frame, samples, time_s);
    this.#capture.onlost = () => this.#end("The input was unplugged. What was played so far is kept.");
    watchLevel(this.querySelector("[data-level]"), () => [this.#peak, (this.#peak = 0)][0]);
  }

  /** @param {string} selector */
  #part(selector) {
    return /** @type {HTMLElement} */ (this.querySelector(selector));
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const asked = pedal(event);
    if (asked === "space") this.#do("go");
    else if (asked === "down") this.#state === "idle" && this.#do("go");
    else if (asked === "up") this.#state === "playing" && this.#do("go");
  }

  /** @param {string} what */
  async #do(what) {
    try {
      if (what === "go" && this.#state === "playing") await this.#end("Listening back.");
      else if (what === "go" && this.#state === "idle") await this.#begin();
      else if (this.#asks.isAnswer(what)) (await this.#asks.take(what)) && (await this.#begin());
      else if (what === "discard") await this.#discard();
    } catch (error) {
      this.#become("idle");
      say(this, error instanceof Error ? error.message : String(error));
    }
  }

  async #begin() {
    if (!this.#asks.allow()) return;
    await this.#capture.open();
    this.#length_s = this.#loudest = 0;
    this.#rests = JSON.parse(this.dataset.rests ?? "[]");
    this.#part("[data-verdict]").replaceChildren();
    this.#part("[data-after]").hidden = true;
    this.#part("[data-cautions]").replaceChildren();
    const query = Object.fromEntries(new URLSearchParams(this.dataset.query));
    this.#take = new TakeStream({
      query,
      tempo: Number(this.dataset.tempo),
      sample_rate: this.#capture.rate,
      session: true,
    });
    this.#take.onconnection = (isThere) => {
      if (!isThere) say(this, "Undersong does not answer. Your playing is kept here, and goes on when it is back.");
      else if (this.#state === "playing") say(this, "Listening. Play as you like.");
    };
    this.#become("playing");
    say(this, "Listening. Play as you like.");
  }

  /**
   * @param {number} frame
   * @param {Float32Array} samples
   * @param {number} time_s
   */
  #block(frame, samples, time_s) {
    for (const sample of samples) this.#peak = Math.max(this.#peak, Math.abs(sample));
    if (this.#state !== "playing" || !this.#take) return;
    this.#take.add(frame, samples, time_s);
    this.#length_s += samples.length / this.#capture.rate;
    this.#loudest = Math.max(this.#loudest, this.#peak);
    this.#watch();
  }

  /** The time, a word where nothing is heard, and when to rest. */
  #watch() {
    const text = `${Math.floor(this.#length_s / 60)}:${String(Math.floor(this.#length_s % 60)).padStart(2, "0")}`;
    if (text === this.#shown) return;
    this.#shown = this.#part("[data-time]").textContent = text;
    if (this.#loudest < QUIET && this.#length_s > QUIET_AFTER_S) {
      say(this, "I hear almost nothing: is the input on? Getting set shows its level.");
    }
    while (this.#rests.length && this.#rests[0].after_s <= this.#length_s) {
      const rest = this.#rests.shift();
      if (rest) this.#part("[data-cautions]").replaceChildren(...paragraphs([rest]));
    }
    if (this.#length_s > Number(this.dataset.most) - SHORT_OF_MOST_S) {
      this.#end("This is as long as it listens. Rest your hands while I listen back.");
    }
  }

  /** @param {string} words */
  async #end(words) {
    const take = this.#take;
    if (this.#state !== "playing" || !take) return;
    this.#become("judging");
    this.#capture.close();
    take.end();
    say(this, words);
    try {
      this.#show(await take.verdict);
    } catch (error) {
      say(this, error instanceof Error ? error.message : String(error));
    }
    this.#take = null;
    this.#become("idle");
  }

  /** @param {import("./takestream.js").Verdict} verdict */
  #show(verdict) {
    this.#takeId = verdict.take;
    this.#part("[data-verdict]").innerHTML = verdict.html;
    this.#part("[data-after]").hidden = false;
    this.#part("[data-pain]").hidden = !verdict.ask_pain;
    this.#part("[data-cautions]").replaceChildren(...paragraphs(verdict.cautions));
    say(this, "Kept in the log.");
    this.#part("[data-verdict]").scrollIntoView({ block: "start" });
  }

  async #discard() {
    await fetchJson(`/takes/${this.#takeId}/delete`, { method: "POST" });
    this.#part("[data-verdict]").replaceChildren();
    this.#part("[data-after]").hidden = true;
    say(this, "Discarded.");
  }

  /** @param {HTMLInputElement} field */
  async #fromElsewhere(field) {
    const file = field.files?.[0];
    field.value = "";
    if (!file || this.#state !== "idle") return;
    this.#become("judging");
    say(this, `Reading ${file.name}.`);
    try {
      const query = new URLSearchParams(this.dataset.query);
      query.set("tempo", this.dataset.tempo ?? "");
      this.#show((await judged(file, query, "/practice/alone")).verdict);
    } catch (error) {
      say(this, error instanceof Error ? error.message : String(error));
    }
    this.#become("idle");
  }

  /** @param {"idle" | "playing" | "judging"} state */
  #become(state) {
    this.#state = state;
    this.dataset.state = state;
    const words = { idle: "Begin listening", playing: "That is all", judging: "Listening back" };
    this.#part('[data-do="go"]').textContent = words[state];
  }
}

customElements.define("alone-desk", AloneDesk);
