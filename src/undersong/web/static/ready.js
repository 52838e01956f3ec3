// @ts-check
/** Getting set: input, level, round trip by the click heard back or by taps along with it. */
import { Capture, roundTrip } from "./capture.js";
import { clickSound, context, fetchJson, say, watchLevel } from "./common.js";
import { tuned } from "./live.js";
import { packed } from "./takestream.js";

const CLICKS = 10;
const TAPS = 16;
const APART_S = 0.75;
const LEAD_S = 0.4;
const TAIL_S = 0.7;

class ReadyDesk extends HTMLElement {
  #capture = new Capture();
  #peak = 0;
  #isMeasuring = false;
  /** @type {TunerStream | null} */ #tuner = null;
  /** @type {{ frame: number, samples: Float32Array, time_s: number }[]} */ #blocks = [];

  connectedCallback() {
    this.addEventListener("click", (event) => {
      const button = /** @type {HTMLElement} */ (event.target).closest("[data-do]");
      if (button instanceof HTMLElement) this.#do(button.dataset.do ?? "");
    });
    this.#inputs.addEventListener("change", () => {
      localStorage.setItem("input", this.#inputs.value);
      this.#capture.close();
      this.#tuner?.close();
      this.#tuner = null;
      this.#do("open");
    });
    this.#capture.onblock = (frame, samples, time_s) => {
      for (const sample of samples) this.#peak = Math.max(this.#peak, Math.abs(sample));
      this.#tuner?.add(frame, samples, time_s);
      if (this.#isMeasuring) this.#blocks.push({ frame, samples, time_s });
    };
    this.#capture.onlost = () => {
      this.#tuner = null;
      say(this, "The input was unplugged.");
    };
    const meter = /** @type {HTMLMeterElement} */ (this.querySelector("[data-level]"));
    watchLevel(meter, () => this.#takePeak());
  }

  get #inputs() {
    return /** @type {HTMLSelectElement} */ (this.querySelector("[data-inputs]"));
  }

  #takePeak() {
    const peak = this.#peak;
    this.#peak = 0;
    if (peak >= 0.99) say(this, "Too loud: turn the input down.");
    return peak;
  }

  /** @param {string} what */
  async #do(what) {
    try {
      if (what === "open") await this.#open();
      else if (what === "delay") await this.#measure(CLICKS, "clicks", "Ten clicks: keep still.");
      else if (what === "taps") await this.#measure(TAPS, "taps", "Sixteen clicks: tap with each.");
      else if (what === "forget") {
        localStorage.removeItem(`round trip ${this.#capture.label}`);
        localStorage.removeItem(`tapped ${this.#capture.label}`);
        this.#tell("Forgotten: lateness is told against your own pulse again.");
        this.#known();
      }
    } catch (error) {
      this.#isMeasuring = false;
      say(this, error instanceof Error ? error.message : String(error));
    }
  }

  async #open() {
    await this.#capture.open();
    const devices = await navigator.mediaDevices.enumerateDevices();
    const chosen = this.#inputs.value;
    this.#inputs.replaceChildren(
      new Option("the computer's usual one", ""),
      ...devices
        .filter((each) => each.kind === "audioinput" && each.deviceId && each.deviceId !== "default")
        .map((each) => new Option(each.label, each.deviceId, false, each.deviceId === chosen)),
    );
    this.#tuner ??= new TunerStream(this.#capture.rate, (told) => this.#tune(told));
    say(this, `Listening to ${this.#capture.label}, ${this.#capture.rate} samples a second.`);
    this.#known();
  }

  /** @param {import("./live.js").LiveTuner} told */
  #tune(told) {
    if (this.#isMeasuring) return; // clicks and taps are no string, and no loud room
    if (told.advice) say(this, told.advice);
    if (told.cents === null) return;
    const [name, off] = tuned(told).split(", ");
    /** @type {HTMLElement} */ (this.querySelector("[data-note]")).textContent = name;
    /** @type {HTMLElement} */ (this.querySelector("[data-cents]")).textContent = off;
    const hand = /** @type {SVGElement} */ (this.querySelector("[data-hand]"));
    hand.removeAttribute("hidden");
    hand.setAttribute("transform", `translate(${told.cents} 0)`);
  }

  #known() {
    const known = roundTrip(this.#capture.label);
    /** @type {HTMLButtonElement} */ (this.querySelector('[data-do="forget"]')).disabled = known === null;
    if (known === null) return;
    if (localStorage.getItem(`tapped ${this.#capture.label}`)) {
      this.#tell(`Measured by tapping along: about ${(known * 1000).toFixed(0)} ms.`);
    } else this.#tell(`Measured: ${(known * 1000).toFixed(1)} ms.`);
  }

  /** @param {string} text */
  #tell(text) {
    const line = this.querySelector("[data-trip]");
    if (line) line.textContent = text;
  }

  /**
   * @param {number} count of clicks played
   * @param {"clicks" | "taps"} by what is listened for
   * @param {string} words to the player meanwhile
   */
  async #measure(count, by, words) {
    if (this.#isMeasuring) return;
    this.#isMeasuring = true;
    await this.#open();
    const ctx = context();
    const sound = await clickSound("accent");
    this.#blocks = [];
    this.#tell(words);
    const first = ctx.currentTime + LEAD_S;
    const gain = ctx.createGain();
    gain.gain.setValueAtTime(0.2, ctx.currentTime); // never at full level from the start
    gain.gain.linearRampToValueAtTime(0.8, first + 2 * APART_S);
    gain.connect(ctx.destination);
    const times = Array.from({ length: count }, (_, n) => first + n * APART_S);
    const nodes = times.map((at) => {
      const node = ctx.createBufferSource();
      node.buffer = sound;
      node.connect(gain);
      node.start(at);
      return node;
    });
    const end = times[count - 1] + TAIL_S;
    await new Promise((resolve) => {
      const wait = () => (ctx.currentTime > end ? resolve(null) : setTimeout(wait, 50));
      wait();
    });
    for (const node of nodes) node.disconnect();
    this.#isMeasuring = false;
    if (!this.#blocks.length) throw new Error("Nothing came in: is the input switched on?");
    const zero = this.#blocks[0].frame;
    const last = this.#blocks[this.#blocks.length - 1];
    const samples = new Float32Array(last.frame + last.samples.length - zero);
    for (const block of this.#blocks) samples.set(block.samples, block.frame - zero);
    const rate = this.#capture.rate;
    // One block's time stamp alone may be off by a buffer, or a hole may follow it.
    const began = median(this.#blocks.map((each) => each.time_s - (each.frame - zero) / rate));
    const at = times.map((time) => Math.round((time - began) * rate));
    const query = new URLSearchParams({ rate: String(rate), at: at.join(","), by });
    const found = await fetchJson(`/ready/delay?${query}`, {
      method: "POST",
      body: new Uint8Array(samples.buffer),
    });
    if (found.delay_ms !== null) {
      localStorage.setItem(`round trip ${this.#capture.label}`, String(found.delay_ms / 1000));
      if (by === "taps") localStorage.setItem(`tapped ${this.#capture.label}`, "yes");
      else localStorage.removeItem(`tapped ${this.#capture.label}`);
    }
    this.#known();
    this.#tell(found.words);
  }
}

/** @param {number[]} values */
function median(values) {
  return [...values].sort((a, b) => a - b)[values.length >> 1];
}

/** The input on its way to the tuner; a reading ten times a second comes back. */
class TunerStream {
  #socket;

  /**
   * @param {number} rate
   * @param {(told: import("./live.js").LiveTuner) => void} ontuner
   */
  constructor(rate, ontuner) {
    const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/tune`);
    socket.onopen = () => socket.send(JSON.stringify({ type: "begin", sample_rate: rate }));
    socket.onmessage = (event) => {
      for (const each of JSON.parse(event.data).said ?? []) if (each.kind === "tuner") ontuner(each);
    };
    this.#socket = socket;
  }

  /**
   * @param {number} frame
   * @param {Float32Array} samples
   * @param {number} time_s
   */
  add(frame, samples, time_s) {
    if (this.#socket.readyState === WebSocket.OPEN) this.#socket.send(packed(frame, samples, time_s));
  }

  close() {
    this.#socket.close();
  }
}

customElements.define("ready-desk", ReadyDesk);
