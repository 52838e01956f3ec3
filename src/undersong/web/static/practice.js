// @ts-check
/**
 * A pass: count-in and click laid on the audio clock before it begins, the input heard with its
 * frame numbers, the verdict shown on the music, the next tempo taken. No timer decides when
 * anything sounds.
 *
 * @typedef {import("./passsound.js").Sheet} Sheet
 */
import { Asks } from "./asks.js";
import { Capture, roundTrip } from "./capture.js";
import { clickSound, context, fetchJson, paragraphs, pedal, say, soundSoon, watchLevel } from "./common.js";
import { judged } from "./elsewhere.js";
import { LiveMarks } from "./live.js";
import { PlaceMarker } from "./marker.js";
import { countOf, layClicks, playFrom } from "./passsound.js";
import { TakeStream } from "./takestream.js";

const LEAD_S = 0.15;
const TAIL_S = 0.7;
const BETWEEN_S = 4;
const LATEST_S = 4; // an input this much behind the click brings nothing more
const SHARED = "Another tab plays too: its click is in this one's microphone. Both are kept.";
const BEHIND = "This page is in the background: the click goes on, and it still listens.";

class PracticeDesk extends HTMLElement {
  #capture = new Capture();
  #marker = new PlaceMarker(this.#part("[data-music]"));
  #live = new LiveMarks(
    this.#part("[data-music]"),
    this.#part("[data-live]"),
    this.#part("[data-tuner]"),
  );
  /** @type {TakeStream | null} */ #take = null;
  /** @type {TakeStream | null} */ #last = null;
  /** @type {AudioBuffer | null} */ #lastSound = null;
  /** @type {Sheet | null} */ #sheet = null;
  /** @type {AudioScheduledSourceNode[]} */ #nodes = [];
  /** @type {"idle" | "playing" | "judging" | "waiting" | "model"} */ #state = "idle";
  #began = 0; // context time of second 0 of the schedule
  #tempo = 70;
  #takeId = 0;
  #turn = 0; // counts begun and stopped passes, so that what was stopped stays stopped
  #peak = 0;
  #asks = new Asks(this);
  #tabs = new BroadcastChannel("a pass");
  #isShared = false; // another tab plays at the same time
  #isBehind = document.hidden;

  connectedCallback() {
    soundSoon();
    this.#tempo = Number(this.dataset.tempo);
    this.addEventListener("click", (event) => {
      const button = /** @type {HTMLElement} */ (event.target).closest("[data-do]");
      if (button instanceof HTMLElement) this.#do(button.dataset.do ?? "", button);
    });
    this.addEventListener("submit", (event) => this.#overrule(event));
    document.addEventListener("keydown", (event) => this.#key(event));
    document.addEventListener("visibilitychange", () => {
      this.#isBehind = document.hidden;
      if (document.hidden && this.#state === "playing") this.#tell("");
    });
    this.#part("[data-file]").addEventListener("change", (event) => {
      this.#fromElsewhere(/** @type {HTMLInputElement} */ (event.target));
    });
    this.#part("[data-verdict]").addEventListener("click", (event) => this.#fromBar(event));
    this.#capture.onblock = (frame, samples, time_s) => this.#block(frame, samples, time_s);
    this.#capture.onlost = () => this.#endEarly("The input was unplugged. What was played so far is kept and judged.");
    this.#tabs.onmessage = ({ data }) => {
      if (this.#state !== "playing") return;
      this.#isShared = true;
      this.#tell("");
      if (data === "I begin") this.#tabs.postMessage("I play");
    };
    watchLevel(this.querySelector("[data-level]"), () => [this.#peak, (this.#peak = 0)][0]);
  }

  /** @param {string} selector */
  #part(selector) {
    return /** @type {HTMLElement} */ (this.querySelector(selector));
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const asked = pedal(event);
    if (asked === "space") this.#do(this.#isBusy() ? "stop" : "go");
    else if (asked === "down") this.#isBusy() || this.#do("go");
    else if (asked === "up") this.#do("stop");
  }

  #isBusy() {
    return this.#state !== "idle";
  }

  /**
   * @param {string} what
   * @param {HTMLElement} [button]
   */
  async #do(what, button) {
    try {
      if (what === "go") await (this.#isBusy() ? this.#stop() : this.#pass());
      else if (what === "stop") this.#stop();
      else if (what === "model") await (this.#isBusy() ? this.#stop() : this.#model());
      else if (what === "faster") this.#setTempo(this.#tempo + 1);
      else if (what === "slower") this.#setTempo(this.#tempo - 1);
      else if (what === "hands" && button) {
        button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
      } else if (this.#asks.isAnswer(what)) (await this.#asks.take(what)) && (await this.#pass());
      else if (what === "hear") this.#hear(0, false);
      else if (what === "hear-click") this.#hear(0, true);
      else if (what === "discard") await this.#discard();
    } catch (error) {
      this.#idle();
      say(this, error instanceof Error ? error.message : String(error));
    }
  }

  /** @param {number} tempo */
  #setTempo(tempo) {
    this.#tempo = Math.min(400, Math.max(10, tempo));
    this.#part("[data-tempo-now]").textContent = String(this.#tempo);
  }

  get #click() {
    return /** @type {HTMLSelectElement} */ (this.querySelector("[data-click]")).value;
  }

  #asked() {
    return new URLSearchParams(this.dataset.query);
  }

  async #makeReady() {
    const query = this.#asked();
    query.set("tempo", String(this.#tempo));
    query.set("click", this.#click);
    const sheet = /** @type {Sheet} */ (await fetchJson(`/practice/sheet?${query}`));
    if (sheet.tempo !== this.#sheet?.tempo || this.#part("[data-music]").hidden) {
      this.#part("[data-music]").innerHTML = sheet.tab;
    }
    this.#marker.clear();
    this.#sheet = sheet;
    return sheet;
  }

  // A pass

  async #pass() {
    if (!this.#asks.allow()) return;
    const turn = (this.#turn += 1);
    this.#become("playing");
    this.#isShared = false;
    this.#tabs.postMessage("I begin");
    const ctx = context();
    await ctx.resume();
    const [sheet, ...clicks] = await Promise.all([
      this.#makeReady(),
      ...["accent", "beat", "subdivision"].map(clickSound),
      this.#capture.open(),
    ]);
    if (turn !== this.#turn) return;
    const [accent, beat, subdivision] = clicks;
    this.#began = ctx.currentTime + LEAD_S;
    const sounds = /** @type {Record<string, AudioBuffer>} */ ({ accent, beat, subdivision });
    this.#nodes = layClicks(ctx, sheet, sounds, this.#began);
    const delay = roundTrip(this.#capture.label);
    this.#take = new TakeStream({
      query: Object.fromEntries(this.#asked()),
      tempo: sheet.tempo,
      sample_rate: this.#capture.rate,
      start_time: delay === null ? null : this.#began + sheet.start_s + delay,
      about_time: this.#began + sheet.start_s + this.#capture.believedTrip,
    });
    this.#live.begin();
    this.dataset.along = "yes";
    this.#take.onlive = (said) => this.#told(said, turn);
    this.#take.onconnection = (isThere) => {
      if (!isThere) say(this, "Undersong does not answer. Your playing is kept here, and goes on when it is back.");
      else if (this.#state === "playing") this.#tell("Listening.");
    };
    this.#part("[data-verdict]").replaceChildren();
    this.#part("[data-after]").hidden = true;
    this.#part("[data-climb]").hidden = true;
    this.#part("[data-music]").hidden = false;
    this.#part("[data-music]").scrollIntoView({ block: "nearest" });
    this.#expectTheEnd(sheet, turn);
    requestAnimationFrame(() => this.#follow(turn));
  }

  /**
   * An input that falls silent without a word must not leave the pass open for ever.
   * @param {Sheet} sheet
   * @param {number} turn
   */
  #expectTheEnd(sheet, turn) {
    const wait_s = LEAD_S + sheet.end_s + TAIL_S + LATEST_S;
    setTimeout(() => {
      if (turn === this.#turn) this.#endEarly("Nothing more came in from the input. What came in is kept and judged.");
    }, wait_s * 1000);
  }

  /** @param {string} why */
  #endEarly(why) {
    if (this.#state !== "playing") return;
    this.#finish();
    say(this, why);
  }

  /**
   * @param {number} frame
   * @param {Float32Array} samples
   * @param {number} time_s
   */
  #block(frame, samples, time_s) {
    for (const sample of samples) this.#peak = Math.max(this.#peak, Math.abs(sample));
    if (this.#state !== "playing" || !this.#take || !this.#sheet) return;
    const until_s = time_s + samples.length / this.#capture.rate;
    if (until_s < this.#began - LEAD_S) return; // waited while the page was busy: not of this pass
    this.#take.add(frame, samples, time_s);
    const end = this.#began + this.#sheet.end_s + TAIL_S + (roundTrip(this.#capture.label) ?? 0);
    if (until_s > end) this.#finish();
  }

  /**
   * What the ear says while the pass is on.
   * @param {import("./live.js").LiveMessage[]} said
   * @param {number} turn
   */
  #told(said, turn) {
    if (turn !== this.#turn || this.#state !== "playing") return;
    this.#live.show(said);
    for (const each of said) {
      if (each.kind === "off") {
        this.dataset.along = "no";
        say(this, each.words);
      }
      if (each.kind === "tuner" && each.advice) this.#tell(each.advice);
      if (each.kind === "note" && each.onset_s !== null) {
        const after_ms = 1000 * (this.#capture.now - each.onset_s);
        this.dispatchEvent(new CustomEvent("heard", { detail: { index: each.index, after_ms } }));
      }
    }
  }

  /**
   * Something to know while the pass is on; that another tab plays goes before all else, and where
   * this one cannot be seen, that it listens all the same.
   * @param {string} text
   */
  #tell(text) {
    say(this, this.#isShared ? SHARED : this.#isBehind ? BEHIND : text);
  }

  /** @param {number} turn */
  #follow(turn) {
    const sheet = this.#sheet;
    if (turn !== this.#turn || this.#state !== "playing" || !sheet) return;
    const s = context().currentTime - this.#began;
    this.#count(sheet, s);
    this.#marker.move(s - sheet.start_s);
    requestAnimationFrame(() => this.#follow(turn));
  }

  /**
   * @param {Sheet} sheet
   * @param {number} s
   */
  #count(sheet, s) {
    const text = countOf(sheet, s);
    const count = this.#part("[data-count]");
    if (count.textContent !== text) count.textContent = text;
  }

  async #finish() {
    const take = this.#take;
    if (this.#state !== "playing" || !take) return;
    this.#become("judging");
    this.#silence();
    take.end();
    say(this, "Listening back.");
    const turn = this.#turn;
    try {
      const verdict = await take.verdict;
      this.#last = take;
      this.#lastSound = take.buffer(context());
      this.#show(verdict);
      this.#idle();
      if (turn === this.#turn) this.#again(verdict.ask_pain || verdict.cautions.length > 0);
    } catch (error) {
      this.#idle();
      say(this, error instanceof Error ? error.message : String(error));
    }
  }

  /** @param {import("./takestream.js").Verdict} verdict */
  #show(verdict) {
    this.#takeId = verdict.take;
    this.#part("[data-verdict]").innerHTML = verdict.html;
    this.#part("[data-music]").hidden = true;
    this.#part("[data-climb]").hidden = true;
    this.#part("[data-after]").hidden = false;
    this.#part("[data-pain]").hidden = !verdict.ask_pain;
    this.#part("[data-cautions]").replaceChildren(...paragraphs(verdict.cautions));
    this.#setTempo(verdict.next_bpm);
    say(this, this.#part(".verdict .next")?.textContent ?? "");
    this.#part("[data-verdict]").scrollIntoView({ block: "start" });
  }

  /**
   * Hands-free: count in again by itself, unless there is something to read first.
   * @param {boolean} mustRead
   */
  #again(mustRead) {
    if (mustRead || this.#part('[data-do="hands"]').getAttribute("aria-pressed") !== "true") return;
    const turn = (this.#turn += 1);
    this.#become("waiting");
    say(this, `Again in ${BETWEEN_S} seconds, at ${this.#tempo}. The space bar stops.`);
    setTimeout(() => {
      if (turn !== this.#turn || this.#state !== "waiting") return;
      this.#state = "idle";
      this.#do("go");
    }, BETWEEN_S * 1000);
  }

  #stop() {
    this.#turn += 1;
    if (this.#state === "playing") {
      this.#take?.drop();
      say(this, "Stopped. Nothing was kept.");
    } else if (this.#state === "waiting") say(this, "Stopped.");
    if (this.#state !== "judging") this.#idle();
  }

  #silence() {
    for (const node of this.#nodes) node.stop();
    this.#nodes = [];
    this.#part("[data-count]").textContent = "";
    this.#part("[data-live]").textContent = "";
  }

  #idle() {
    this.#silence();
    this.#take = null;
    this.#become("idle");
    this.#marker.clear();
  }

  /** @param {"idle" | "playing" | "judging" | "waiting" | "model"} state */
  #become(state) {
    this.#state = state;
    this.dataset.state = state;
    this.#part('[data-do="go"]').textContent = state === "idle" ? "Play a pass" : "Stop";
  }

  // Around it

  async #model() {
    this.#become("model");
    const turn = (this.#turn += 1);
    await context().resume();
    say(this, "Making the sound.");
    const sheet = await this.#makeReady();
    const query = this.#asked();
    query.set("tempo", String(this.#tempo));
    const answer = await fetch(`/practice/model?${query}`);
    const sound = await context().decodeAudioData(await answer.arrayBuffer());
    if (turn !== this.#turn) return;
    say(this, "This is how it goes.");
    this.#sound(sound, 0);
    this.#part("[data-music]").hidden = false;
    this.#began = context().currentTime + 0.05;
    const follow = () => {
      if (turn !== this.#turn || this.#state !== "model") return;
      this.#marker.move(context().currentTime - this.#began - sheet.start_s);
      requestAnimationFrame(follow);
    };
    follow();
  }

  /**
   * @param {AudioBuffer} sound
   * @param {number} from seconds of the sound
   */
  #sound(sound, from) {
    const node = playFrom(context(), sound, from);
    node.onended = () => this.#nodes.includes(node) && this.#idle();
    this.#nodes.push(node);
  }

  /**
   * Your own take, from a second of it, with the click against it if asked.
   * @param {number} from
   * @param {boolean} withClick
   */
  async #hear(from, withClick) {
    if (this.#isBusy()) return this.#stop();
    const sound = this.#lastSound;
    const sheet = this.#sheet;
    if (!sound) return;
    this.#become("model");
    this.#turn += 1;
    await context().resume();
    this.#sound(sound, from);
    const start = Number(/** @type {HTMLElement} */ (this.querySelector(".verdict")).dataset.start);
    if (!withClick || !sheet || !Number.isFinite(start)) return;
    const ctx = context();
    const zero = ctx.currentTime + 0.05 - from + start - sheet.start_s;
    for (const click of sheet.clicks) {
      const at = zero + click.s;
      if (at < ctx.currentTime) continue;
      const node = ctx.createBufferSource();
      node.buffer = await clickSound(click.kind);
      node.connect(ctx.destination);
      node.start(at);
      this.#nodes.unshift(node);
    }
  }

  /** @param {Event} event */
  #fromBar(event) {
    const bar = /** @type {Element} */ (event.target).closest(".tabbar");
    const verdict = /** @type {HTMLElement | null} */ (this.querySelector(".verdict"));
    if (!(bar instanceof SVGElement) || !verdict?.dataset.start) return;
    if (this.#isBusy()) this.#stop();
    this.#hear(Number(verdict.dataset.start) + Number(bar.dataset.s) - 0.05, false);
  }

  async #discard() {
    await fetchJson(`/takes/${this.#takeId}/delete`, { method: "POST" });
    this.#part("[data-verdict]").replaceChildren();
    this.#part("[data-after]").hidden = true;
    this.#part("[data-music]").hidden = false;
    this.#lastSound = null;
    say(this, "Discarded. The climb stays where it is.");
  }

  /** @param {SubmitEvent} event */
  async #overrule(event) {
    const form = /** @type {HTMLFormElement} */ (event.target);
    event.preventDefault();
    const body = new URLSearchParams(/** @type {any} */ (new FormData(form)));
    try {
      const answer = await fetchJson(form.action, { method: "POST", body });
      this.#part("[data-verdict]").innerHTML = answer.html;
      this.#setTempo(answer.next_bpm);
      say(this, "Put right, and remembered.");
    } catch (error) {
      say(this, error instanceof Error ? error.message : String(error));
    }
  }

  /** @param {HTMLInputElement} field */
  async #fromElsewhere(field) {
    const file = field.files?.[0];
    field.value = "";
    if (!file || this.#isBusy()) return;
    this.#become("judging");
    say(this, `Reading ${file.name}.`);
    try {
      await this.#makeReady();
      const query = this.#asked();
      query.set("tempo", String(this.#tempo));
      const { sound, verdict } = await judged(file, query);
      this.#lastSound = sound;
      this.#show(verdict);
      this.#idle();
    } catch (error) {
      this.#idle();
      say(this, error instanceof Error ? error.message : String(error));
    }
  }
}

customElements.define("practice-desk", PracticeDesk);
