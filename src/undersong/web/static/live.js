// @ts-check
/**
 * What the ear says while somebody plays, shown on the music by the same shapes as the verdict, and
 * in a word beside the tempo. The verdict itself comes after the pass.
 *
 * @typedef {{ kind: "note", index: number, verdict: string, heard: string, stroke: number,
 *   is_outside: boolean, words: string, onset_s: number | null }} LiveNote
 * @typedef {{ kind: "place", index: number, played: boolean }} LivePlace
 * @typedef {{ kind: "tuner", name: string, cents: number | null, level_db: number, peak_db: number,
 *   advice: string }} LiveTuner
 * @typedef {{ kind: "off", words: string }} LiveOff
 * @typedef {LiveNote | LivePlace | LiveTuner | LiveOff} LiveMessage
 */

const SVG = "http://www.w3.org/2000/svg";
const VERDICTS = ["right", "wrong", "missed", "unsure"];

export class LiveMarks {
  #music;
  #words;
  #tuner;
  /** @type {Map<number, SVGElement>} */ #notes = new Map();

  /**
   * @param {HTMLElement} music
   * @param {HTMLElement} words
   * @param {HTMLElement} tuner
   */
  constructor(music, words, tuner) {
    this.#music = music;
    this.#words = words;
    this.#tuner = tuner;
  }

  /** A pass begins: the music is clean. */
  begin() {
    this.#notes.clear();
    for (const note of /** @type {NodeListOf<SVGElement>} */ (this.#music.querySelectorAll(".note"))) {
      this.#notes.set(Number(note.dataset.index), note);
      this.#clean(note);
    }
    this.#words.textContent = "";
    this.#tuner.textContent = "";
  }

  /** @param {LiveMessage[]} said */
  show(said) {
    for (const each of said) {
      if (each.kind === "note") this.#mark(each);
      else if (each.kind === "tuner") this.#tune(each);
    }
  }

  /** @param {LiveNote} told */
  #mark(told) {
    const note = this.#notes.get(told.index);
    if (told.words) this.#words.textContent = told.words;
    if (!note) return;
    this.#clean(note);
    note.classList.add(told.verdict);
    note.classList.toggle("outside", told.is_outside);
    const fret = note.querySelector(".fret");
    const x = Number(fret?.getAttribute("x"));
    const y = Number(fret?.getAttribute("y")) - 6;
    if (told.verdict === "wrong") {
      add(note, "line", { class: "strike live", x1: x - 11, y1: y + 8, x2: x + 11, y2: y - 8 });
      add(note, "text", { class: "heard live", x, y: y - 11, "text-anchor": "middle" }, told.heard);
    }
    if (told.stroke) {
      const from = x + (told.stroke > 0 ? 11 : -11);
      add(note, "line", { class: "lateness live", x1: from, x2: from + told.stroke, y1: y, y2: y });
    }
  }

  /** @param {SVGElement} note */
  #clean(note) {
    for (const each of note.querySelectorAll(".live")) each.remove();
    note.classList.remove("outside", ...VERDICTS);
  }

  /** @param {LiveTuner} told */
  #tune(told) {
    const text = tuned(told);
    if (text && text !== this.#tuner.textContent) this.#tuner.textContent = text;
  }
}

/**
 * A tuner reading in a word: the note, and by how much it is off.
 * @param {LiveTuner} told
 */
export function tuned(told) {
  if (told.cents === null) return "";
  const cents = Math.round(told.cents);
  const off = cents === 0 ? "in tune" : `${Math.abs(cents)} cents ${cents > 0 ? "high" : "low"}`;
  return `${told.name}, ${off}`;
}

/**
 * @param {SVGElement} to
 * @param {string} kind
 * @param {Record<string, string | number>} attributes
 * @param {string} [text]
 */
function add(to, kind, attributes, text) {
  const made = document.createElementNS(SVG, kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, String(value));
  if (text) made.textContent = text;
  to.append(made);
}
