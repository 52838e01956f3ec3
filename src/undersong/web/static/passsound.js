// @ts-check
/**
 * What a pass sounds like: its clicks laid on the audio clock, a take or a model played back.
 *
 * @typedef {{ tempo: number, start_s: number, end_s: number, tab: string, window_ms: number,
 *   clicks: { s: number, kind: string, in: boolean }[] }} Sheet
 */

/**
 * Lay every click of a pass on the audio clock.
 * @param {AudioContext} ctx
 * @param {Sheet} sheet
 * @param {Record<string, AudioBuffer>} sounds
 * @param {number} began context time of second 0 of the sheet
 */
export function layClicks(ctx, sheet, sounds, began) {
  const gain = ctx.createGain();
  gain.gain.setValueAtTime(0.25, began); // no click begins at full level
  gain.gain.linearRampToValueAtTime(0.8, began + sheet.start_s);
  gain.connect(ctx.destination);
  return sheet.clicks.map((click) => {
    const node = ctx.createBufferSource();
    node.buffer = sounds[click.kind];
    node.connect(gain);
    node.start(began + click.s);
    return node;
  });
}

/**
 * A recorded or rendered sound from a second of it on, faded in.
 * @param {AudioContext} ctx
 * @param {AudioBuffer} sound
 * @param {number} from seconds of the sound
 */
export function playFrom(ctx, sound, from) {
  const node = ctx.createBufferSource();
  const gain = ctx.createGain();
  const at = ctx.currentTime + 0.05;
  gain.gain.setValueAtTime(0.05, at);
  gain.gain.linearRampToValueAtTime(0.9, at + 0.4);
  node.buffer = sound;
  node.connect(gain).connect(ctx.destination);
  node.start(at, Math.max(0, from));
  return node;
}

/**
 * The number to count in with at a second of the sheet; empty once the music has begun.
 * @param {Sheet} sheet
 * @param {number} s
 */
export function countOf(sheet, s) {
  const counted = sheet.clicks.filter((each) => each.in && each.kind !== "subdivision" && each.s <= s);
  const from = counted.map((each) => each.kind).lastIndexOf("accent");
  return s < sheet.start_s && counted.length ? String(counted.length - from) : "";
}
