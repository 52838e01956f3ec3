// @ts-check
/** What every page's script needs: one audio context, answers from the app, words to the player. */

/** @type {AudioContext | null} */
let shared = null;

/** The one audio context. It sounds from the first touch on: `resume` it there, before any wait. */
export function context() {
  shared ??= new AudioContext({ latencyHint: "balanced" });
  return shared;
}

/**
 * Make the audio context as soon as the page stands. A browser can hold a page for a tenth of a
 * second until its sound is there: not while somebody waits for the count-in.
 */
export function soundSoon() {
  requestAnimationFrame(() => setTimeout(context));
}

/** Whether the player asked for less motion. */
export function calm() {
  return matchMedia("(prefers-reduced-motion: reduce)").matches;
}

/**
 * An answer of the app as JSON; what it refuses is thrown as its own sentence.
 * @param {string} path
 * @param {RequestInit} [init]
 */
export async function fetchJson(path, init) {
  const answer = await fetch(path, { ...init, headers: { accept: "application/json", ...init?.headers } });
  const value = await answer.json();
  if (!answer.ok) throw new Error(value.message);
  return value;
}

/**
 * Say something in a page's status line.
 * @param {ParentNode} where
 * @param {string} text
 */
export function say(where, text) {
  const line = where.querySelector("[data-say]");
  if (line) line.textContent = text;
}

/** @type {Map<string, Promise<AudioBuffer>>} */
const clicks = new Map();

/**
 * One click as sound, fetched once.
 * @param {string} kind
 */
export function clickSound(kind) {
  let found = clicks.get(kind);
  if (!found) {
    found = fetch(`/sound/click/${kind}.wav`)
      .then((answer) => answer.arrayBuffer())
      .then((data) => context().decodeAudioData(data));
    clicks.set(kind, found);
  }
  return found;
}

const LEVEL_MS = 120;

/**
 * Keep a meter at the loudest of late, falling back slowly.
 * @param {HTMLMeterElement | null} meter
 * @param {() => number} peak the loudest since it was asked last
 */
export function watchLevel(meter, peak) {
  setInterval(() => {
    if (!meter) return;
    const level = Math.max(peak(), meter.value * 0.6);
    if (Math.abs(level - meter.value) > 0.005) meter.value = level;
  }, LEVEL_MS);
}

const PEDALS = new Map([
  [" ", "space"],
  ["PageDown", "down"],
  ["PageUp", "up"],
]);

/**
 * What a key or a foot-switch asks for: "space", "down" (page down, go), "up" (page up, stop), or
 * nothing while somebody writes, chooses or follows a link.
 * @param {KeyboardEvent} event
 */
export function pedal(event) {
  const place = /** @type {HTMLElement} */ (event.target);
  if (place.closest("select, input, textarea, a, summary")) return "";
  if (event.key === " " && place.closest("button")) return "";
  const asked = PEDALS.get(event.key) ?? "";
  if (asked) event.preventDefault();
  return asked;
}

/**
 * Cautions as lines to read.
 * @param {{ text: string }[]} cautions
 */
export function paragraphs(cautions) {
  return cautions.map(({ text }) => {
    const line = document.createElement("p");
    line.className = "ask";
    line.textContent = text;
    return line;
  });
}
