// @ts-check
/** A pack being made: each step is said as it is taken. */
import { say } from "./common.js";

class PackMaking extends HTMLElement {
  connectedCallback() {
    this.#make().catch((error) => say(this, error instanceof Error ? error.message : String(error)));
  }

  async #make() {
    const open = /** @type {HTMLAnchorElement} */ (this.querySelector("[data-open]"));
    open.hidden = true;
    const query = new URLSearchParams({ player: this.dataset.player ?? "" });
    const answer = await fetch(`/pack/making?${query}`);
    const reader = answer.body?.pipeThrough(new TextDecoderStream()).getReader();
    if (!answer.ok || !reader) throw new Error("The pack could not be made: go back and try again.");
    let text = "";
    for (let piece = await reader.read(); !piece.done; piece = await reader.read()) {
      const lines = (text + piece.value).split("\n");
      text = lines.pop() ?? "";
      for (const line of lines) this.#show(JSON.parse(line));
    }
    open.href = `/pack.pdf?${query}&made=1`;
    open.hidden = false;
    open.focus();
  }

  /** @param {{ done: number, of: number, words: string, error?: string }} step */
  #show(step) {
    if (step.error) throw new Error(step.error);
    const bar = /** @type {HTMLProgressElement} */ (this.querySelector("progress"));
    bar.max = step.of;
    bar.value = step.done;
    say(this, step.words);
  }
}

customElements.define("pack-making", PackMaking);
