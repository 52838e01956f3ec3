// @ts-check
/** The place-marker on the music: the bar, and in it the note, whose time has come. */
import { calm } from "./common.js";

/** @typedef {{ s: number, element: Element }} Moment */

/**
 * The last of some moments that has come, or null.
 * @param {Moment[]} moments in order
 * @param {number} s
 */
function lastBefore(moments, s) {
  let low = 0;
  let high = moments.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (moments[middle].s <= s) low = middle + 1;
    else high = middle;
  }
  return low ? moments[low - 1].element : null;
}

export class PlaceMarker {
  #music;
  /** @type {Element | null} */ #bar = null;
  /** @type {Element | null} */ #note = null;
  /** @type {Map<string, Moment[]>} */ #found = new Map();

  /** @param {HTMLElement} music holds bars and notes with their seconds */
  constructor(music) {
    this.#music = music;
  }

  /**
   * Move; nothing is touched while the marker stays where it is, for the audio's sake.
   * @param {number} s seconds of the part
   */
  move(s) {
    const bar = lastBefore(this.#moments(".tabbar"), s);
    if (bar !== this.#bar) {
      this.#bar?.classList.remove("now");
      bar?.classList.add("now");
      bar?.scrollIntoView({ block: "nearest" });
      this.#bar = bar;
    }
    if (calm()) return; // with less motion the marker goes bar by bar
    const note = lastBefore(this.#moments(".note"), s);
    if (note !== this.#note) {
      this.#note?.classList.remove("now");
      note?.classList.add("now");
      this.#note = note;
    }
  }

  /** Take the marker away; the music may be another when it comes back. */
  clear() {
    this.#bar?.classList.remove("now");
    this.#note?.classList.remove("now");
    this.#bar = this.#note = null;
    this.#found.clear();
  }

  /** @param {string} what */
  #moments(what) {
    let found = this.#found.get(what);
    if (!found) {
      const each = /** @type {NodeListOf<SVGElement>} */ (this.#music.querySelectorAll(what));
      found = [...each].map((element) => ({ s: Number(element.dataset.s), element }));
      this.#found.set(what, found);
    }
    return found;
  }
}
