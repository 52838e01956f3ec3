// @ts-check
/**
 * The song sounding: one rendered sound, a place-marker moved by the audio clock, bars looped
 * without a gap by the audio engine itself.
 *
 * @typedef {{ start_s: number, end_s: number, bars: { name: string, s: number }[] }} Times
 */
import { calm, context, fetchJson, say, soundSoon } from "./common.js";

class SongPlayer extends HTMLElement {
  /** @type {AudioBufferSourceNode | null} */ #source = null;
  /** @type {AudioBuffer | null} */ #sound = null;
  /** @type {Times | null} */ #times = null;
  #soundOf = "";
  #began = 0; // the context's time at which second 0 of the sound would have begun
  #from = 0; // bar to begin at
  #isMarked = false; // a first bar was tapped: the next closes the loop
  /** @type {[number, number] | null} */ #loop = null;
  /** @type {Element[]} */ #lit = [];
  #isOn = false;
  #asked = 0; // counts the askings: a sound that comes after another asking is too late

  connectedCallback() {
    soundSoon();
    this.addEventListener("click", (event) => this.#clicked(event));
    this.addEventListener("change", () => this.#again());
    document.getElementById("chart")?.addEventListener("click", (event) => this.#tapped(event));
    document.getElementById("line")?.parentElement?.addEventListener("click", chooseBar);
    document.addEventListener("keydown", (event) => {
      const place = /** @type {HTMLElement} */ (event.target);
      if (event.key !== " " || place.closest("button, a, select, input, textarea")) return;
      event.preventDefault();
      this.#toggle();
    });
    document.querySelector("#asked")?.addEventListener("change", (event) => {
      /** @type {HTMLFormElement} */ (event.currentTarget).requestSubmit();
    });
  }

  disconnectedCallback() {
    this.#stop();
  }

  /** @param {Event} event */
  #clicked(event) {
    const button = /** @type {HTMLElement} */ (event.target).closest("button");
    if (!button) return;
    if (button.dataset.ask) {
      const on = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(on));
      this.#again();
    } else if (button.dataset.do === "unloop") this.#setLoop(null);
    else this.#toggle();
  }

  #again() {
    if (this.#isOn) {
      this.#stop();
      this.#play();
    }
  }

  #toggle() {
    if (this.#isOn) this.#stop();
    else this.#play();
  }

  #query() {
    const query = new URLSearchParams(this.dataset.query);
    for (const each of this.querySelectorAll("[data-ask]")) {
      const name = /** @type {HTMLElement} */ (each).dataset.ask ?? "";
      const value =
        each instanceof HTMLSelectElement
          ? each.value
          : each.getAttribute("aria-pressed") === "true"
            ? "1"
            : "0";
      query.set(name, value);
    }
    return query.toString();
  }

  async #play() {
    const ctx = context();
    const button = /** @type {HTMLElement} */ (this.querySelector('[data-do="play"]'));
    const asked = (this.#asked += 1);
    this.#isOn = true;
    this.classList.add("sounding");
    button.textContent = "Stop";
    try {
      await ctx.resume();
      const query = this.#query();
      if (this.#soundOf !== query) {
        say(this, "Making the sound; a long song takes some seconds.");
        const [times, sound] = await Promise.all([
          fetchJson(`/song/times?${query}`),
          fetch(`/song/sound?${query}`).then((answer) => answer.arrayBuffer()),
        ]);
        this.#times = times;
        this.#sound = await ctx.decodeAudioData(sound);
        this.#soundOf = query;
      }
      if (asked !== this.#asked || !this.#isOn) return;
      this.#start(ctx);
      say(this, "");
    } catch (error) {
      say(this, `The sound could not be made: ${error instanceof Error ? error.message : error}`);
      this.#stop();
    }
  }

  /** @param {AudioContext} ctx */
  #start(ctx) {
    if (!this.#sound || !this.#times) return;
    const source = ctx.createBufferSource();
    const gain = ctx.createGain();
    source.buffer = this.#sound;
    // No sound begins at full level.
    gain.gain.setValueAtTime(0.001, ctx.currentTime);
    gain.gain.exponentialRampToValueAtTime(1, ctx.currentTime + 0.3);
    source.connect(gain).connect(ctx.destination);
    const [first, last] = this.#loop ?? [this.#from, 0];
    const begin = this.#loop || first ? this.#times.bars[first].s : 0;
    if (this.#loop) {
      source.loop = true;
      source.loopStart = this.#times.bars[first].s;
      source.loopEnd = this.#barEnd(last);
    }
    const at = ctx.currentTime + 0.1;
    source.start(at, begin);
    this.#began = at - begin;
    source.onended = () => this.#source === source && this.#stop();
    this.#source = source;
    requestAnimationFrame(() => this.#follow());
  }

  /** @param {number} bar */
  #barEnd(bar) {
    const times = /** @type {Times} */ (this.#times);
    return times.bars[bar + 1]?.s ?? times.end_s;
  }

  #follow() {
    const ctx = context();
    if (!this.#source || !this.#times) return;
    let at = ctx.currentTime - this.#began;
    if (this.#loop) {
      const start = this.#times.bars[this.#loop[0]].s;
      const length = this.#barEnd(this.#loop[1]) - start;
      if (at > start) at = start + ((at - start) % length);
    }
    let bar = -1;
    while (bar + 1 < this.#times.bars.length && this.#times.bars[bar + 1].s <= at) bar += 1;
    this.#light(bar, at - this.#times.start_s);
    requestAnimationFrame(() => this.#follow());
  }

  /**
   * @param {number} bar
   * @param {number} s seconds of the part
   */
  #light(bar, s) {
    const name = this.#times?.bars[bar]?.name;
    const tempo = this.#times ? this.#scale() : 1;
    const tab = [...document.querySelectorAll(".tabbar")].filter((each) => {
      const { s: from, end } = /** @type {SVGElement} */ (each).dataset;
      return Number(from) <= s * tempo && s * tempo < Number(end);
    });
    const chart = name ? [...document.querySelectorAll(`[data-bar="${name}"]`)] : [];
    const staff = bar < 0 ? [] : [...document.querySelectorAll(".engraved .measure")].slice(bar, bar + 1);
    const lit = [...chart, ...tab, ...staff];
    if (lit.length === this.#lit.length && lit.every((each, i) => each === this.#lit[i])) return;
    for (const each of this.#lit) each.classList.remove("now");
    for (const each of lit) each.classList.add("now");
    const [first] = chart;
    if (first && first !== this.#lit[0]) {
      first.scrollIntoView({ block: "nearest", behavior: calm() ? "auto" : "smooth" });
    }
    this.#lit = lit;
  }

  /** The tablature's seconds are those of the song's own tempo. */
  #scale() {
    const select = /** @type {HTMLSelectElement} */ (this.querySelector('[data-ask="tempo"]'));
    return Number(select.value) / Number(select.options[0].value);
  }

  #stop() {
    this.#isOn = false;
    this.classList.remove("sounding");
    const source = this.#source;
    this.#source = null;
    source?.stop();
    for (const each of this.#lit) each.classList.remove("now");
    this.#lit = [];
    const button = this.querySelector('[data-do="play"]');
    if (button) button.textContent = "Play";
  }

  /** @param {Event} event */
  async #tapped(event) {
    const bar = /** @type {HTMLElement} */ (event.target).closest("[data-bar]");
    if (!(bar instanceof HTMLElement)) return;
    this.#times ??= await fetchJson(`/song/times?${this.#query()}`);
    const times = /** @type {Times} */ (this.#times);
    const at = times.bars.findIndex((each, place) => each.name === bar.dataset.bar && place >= this.#from);
    const found = at >= 0 ? at : times.bars.findIndex((each) => each.name === bar.dataset.bar);
    if (found < 0) return;
    if (this.#isMarked && found >= this.#from) this.#setLoop([this.#from, found]);
    else {
      this.#from = found;
      this.#setLoop(null);
      this.#from = found;
      this.#isMarked = true;
      bar.classList.add("looped");
      say(this, `Begins at bar ${found + 1}. Tap the last bar of a loop, or press Play.`);
      this.#again();
    }
  }

  /** @param {[number, number] | null} loop */
  #setLoop(loop) {
    this.#loop = loop;
    this.#isMarked = false;
    for (const each of document.querySelectorAll(".looped")) each.classList.remove("looped");
    const times = this.#times;
    if (loop && times) {
      for (let bar = loop[0]; bar <= loop[1]; bar += 1) {
        document.querySelector(`[data-bar="${times.bars[bar].name}"]`)?.classList.add("looped");
      }
      say(this, `Loops ${loop[1] - loop[0] + 1} bars.`);
    } else this.#from = 0;
    /** @type {HTMLButtonElement} */ (this.querySelector('[data-do="unloop"]')).disabled = !loop;
    this.#again();
  }
}

/**
 * A tapped bar of the line is the one the buttons below it are about.
 * @param {Event} event
 */
function chooseBar(event) {
  const target = /** @type {Element} */ (event.target);
  const bar = target.closest(".tabbar, .measure");
  const select = /** @type {HTMLSelectElement | null} */ (document.querySelector("[data-bar-form] select"));
  if (!bar || !select) return;
  const all = [...document.querySelectorAll("#line ~ .tab .tabbar, .engraved .measure")];
  select.selectedIndex = all.indexOf(bar);
  for (const each of all) each.classList.toggle("chosen", each === bar);
  select.form?.classList.add("chosen");
}

customElements.define("song-player", SongPlayer);
