// @ts-check
/** The neck: tap a note to hear it; arrow keys go from note to note. */
import { context, soundSoon } from "./common.js";

/** @type {Map<string, Promise<AudioBuffer>>} */
const sounds = new Map();

/** @param {string} midi */
function noteSound(midi) {
  let found = sounds.get(midi);
  if (!found) {
    found = fetch(`/sound/note/${midi}.flac`)
      .then((answer) => answer.arrayBuffer())
      .then((data) => context().decodeAudioData(data));
    sounds.set(midi, found);
  }
  return found;
}

class NeckBoard extends HTMLElement {
  /** @type {AudioBufferSourceNode | null} */ #ringing = null;

  connectedCallback() {
    soundSoon();
    // On a phone the neck is wider than the screen: begin where the chosen shape lies.
    const bracket = this.querySelector(".bracket")?.getBoundingClientRect();
    const here = this.getBoundingClientRect();
    if (bracket && bracket.right > here.right) this.scrollLeft += bracket.left - here.left - 16;
    this.addEventListener("click", (event) => this.#sound(this.#spot(event)));
    this.addEventListener("keydown", (event) => this.#key(event));
    document.querySelector("#asked")?.addEventListener("change", (event) => {
      /** @type {HTMLFormElement} */ (event.currentTarget).requestSubmit();
    });
  }

  /** @param {Event} event */
  #spot(event) {
    return /** @type {SVGElement | null} */ (/** @type {Element} */ (event.target).closest(".spot"));
  }

  /** @param {SVGElement | null} spot */
  async #sound(spot) {
    if (!spot) return;
    const ctx = context();
    await ctx.resume();
    const buffer = await noteSound(spot.dataset.midi ?? "");
    this.#ringing?.stop();
    const source = ctx.createBufferSource();
    source.buffer = buffer;
    source.connect(ctx.destination);
    source.start();
    this.#ringing = source;
    this.dataset.sounded = spot.dataset.midi;
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const spots = /** @type {SVGElement[]} */ ([...this.querySelectorAll(".spot")]);
    const step = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    const at = spots.findIndex((each) => each === document.activeElement);
    if (step) {
      event.preventDefault();
      const next = spots[(at + step + spots.length) % spots.length];
      if (at >= 0) spots[at].setAttribute("tabindex", "-1");
      next.setAttribute("tabindex", "0");
      next.focus();
    } else if ((event.key === "Enter" || event.key === " ") && at >= 0) {
      event.preventDefault();
      this.#sound(spots[at]);
    }
  }
}

customElements.define("neck-board", NeckBoard);
