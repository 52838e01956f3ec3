// @ts-check
/** What is asked before anybody plays: how the hands are, and whether the page may listen. */
import { fetchJson, say } from "./common.js";

const ANSWERS = ["pain-yes", "pain-no", "listen", "keep", "no"];

export class Asks {
  #desk;
  #mayListen;
  #isWanted = false; // a pass was asked for, and a question stood in its way

  /** @param {HTMLElement} desk holds the questions */
  constructor(desk) {
    this.#desk = desk;
    this.#mayListen = desk.dataset.agreed === "yes";
  }

  /** @param {string} selector */
  #part(selector) {
    return /** @type {HTMLElement} */ (this.#desk.querySelector(selector));
  }

  /** Whether all is answered; where not, the question is shown. */
  allow() {
    const isHurt = Boolean(this.#desk.dataset.hurt);
    this.#isWanted = !isHurt;
    if (isHurt || !this.#part("[data-pain]").hidden) {
      say(this.#desk, isHurt ? "Not today: rest." : "First say how your hands are.");
      this.#part(isHurt ? "[data-stop]" : "[data-pain]").scrollIntoView();
      return false;
    }
    if (this.#mayListen) return true;
    say(this.#desk, "Say whether it may listen, and it begins.");
    this.#part("[data-consent]").hidden = false;
    this.#part('[data-do="listen"]').focus();
    return false;
  }

  /** @param {string} what */
  isAnswer(what) {
    return ANSWERS.includes(what);
  }

  /**
   * Take an answer; whether to go on with what was asked for before.
   * @param {string} what
   */
  async take(what) {
    if (what.startsWith("pain")) {
      await this.#pain(what === "pain-yes");
      return this.#isWanted && what === "pain-no";
    }
    this.#part("[data-consent]").hidden = true;
    if (what === "keep") await fetchJson("/practice/agree", { method: "POST" });
    this.#mayListen ||= what !== "no";
    return what !== "no";
  }

  /** @param {boolean} hurts */
  async #pain(hurts) {
    const body = new URLSearchParams({ hurts: hurts ? "yes" : "no" });
    await fetchJson("/practice/pain", { method: "POST", body });
    this.#part("[data-pain]").hidden = true;
    say(this.#desk, hurts ? "Not today: rest." : "Thank you. The space bar or Page Down begins.");
    if (hurts) {
      this.#desk.dataset.hurt = "yes";
      this.#part("[data-stop]").hidden = false;
    }
  }
}
