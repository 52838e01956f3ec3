// @ts-check
/** A pack being made, and on request its tracks: each step is said as it is taken. */
import { say } from "./common.js";

const BROKEN_OFF = "The connection broke off before the end: try again.";

class PackMaking extends HTMLElement {
  connectedCallback() {
    const make = this.#button();
    make.addEventListener("click", () => {
      make.disabled = true;
      this.#tracks()
        .catch((error) => this.#trouble("tracks", error))
        .finally(() => (make.disabled = false));
    });
    this.#pages().catch((error) => this.#trouble("pages", error));
  }

  get #query() {
    return new URLSearchParams({ player: this.dataset.player ?? "" });
  }

  #button() {
    return /** @type {HTMLButtonElement} */ (this.querySelector("[data-do]"));
  }

  /** @param {"pages" | "tracks"} name */
  #part(name) {
    return /** @type {HTMLElement} */ (this.querySelector(`[data-part="${name}"]`));
  }

  /** @param {"pages" | "tracks"} name @param {unknown} error */
  #trouble(name, error) {
    const part = this.#part(name);
    const bar = part.querySelector("progress");
    if (bar) bar.hidden = true;
    // A fetch or a stream that broke off is a TypeError, in each browser's own words.
    const lost = error instanceof TypeError;
    say(part, lost ? BROKEN_OFF : error instanceof Error ? error.message : String(error));
  }

  async #pages() {
    const open = /** @type {HTMLAnchorElement} */ (this.querySelector("[data-open]"));
    open.hidden = true;
    await follow(this.#part("pages"), await fetch(`/pack/making?${this.#query}`));
    open.href = `/pack.pdf?${this.#query}&made=1`;
    open.hidden = false;
    open.focus();
    this.#part("tracks").hidden = false;
  }

  async #tracks() {
    const part = this.#part("tracks");
    const fetching = /** @type {HTMLAnchorElement} */ (part.querySelector("[data-fetch]"));
    fetching.hidden = true;
    await follow(part, await fetch(`/pack/tracks?${this.#query}`, { method: "POST" }));
    this.#button().textContent = "Make the tracks again";
    fetching.hidden = false;
    fetching.focus();
  }
}

/**
 * Read an answer line by line as it comes, showing each step.
 * @param {HTMLElement} part where to show it
 * @param {Response} answer
 */
async function follow(part, answer) {
  const reader = answer.body?.pipeThrough(new TextDecoderStream()).getReader();
  if (!answer.ok || !reader) throw new Error("This could not be made: go back and try again.");
  let text = "";
  let isWhole = false;
  for (let piece = await reader.read(); !piece.done; piece = await reader.read()) {
    const lines = (text + piece.value).split("\n");
    text = lines.pop() ?? "";
    for (const line of lines) isWhole = show(part, JSON.parse(line));
  }
  if (!isWhole) throw new Error(BROKEN_OFF);
}

/**
 * Show a step; whether it was the last.
 * @param {HTMLElement} part
 * @param {{ done: number, of: number, words: string, error?: string }} step
 */
function show(part, step) {
  if (step.error) throw new Error(step.error);
  const bar = /** @type {HTMLProgressElement} */ (part.querySelector("progress"));
  bar.hidden = false;
  bar.max = step.of;
  bar.value = step.done;
  say(part, step.words);
  return step.done === step.of;
}

customElements.define("pack-making", PackMaking);
