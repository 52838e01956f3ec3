// @ts-check
/** A take from elsewhere: any recording the browser can read, as samples of one channel. */
import { context, fetchJson } from "./common.js";

const LONGEST_S = 20 * 60;

/** @param {File} file */
async function decoded(file) {
  try {
    const sound = await context().decodeAudioData(await file.arrayBuffer());
    if (sound.duration > LONGEST_S) throw new RangeError();
    return sound;
  } catch (error) {
    if (error instanceof RangeError) throw new Error("This recording is too long: twenty minutes is the most.");
    throw new Error(`${file.name} is no sound that this browser can read.`);
  }
}

/** @param {AudioBuffer} sound */
function mono(sound) {
  const mixed = new Float32Array(sound.length);
  for (let channel = 0; channel < sound.numberOfChannels; channel += 1) {
    const samples = sound.getChannelData(channel);
    for (let n = 0; n < mixed.length; n += 1) mixed[n] += samples[n] / sound.numberOfChannels;
  }
  return mixed;
}

/**
 * Have a file judged; the sound, to be heard again, and the verdict.
 * @param {File} file
 * @param {URLSearchParams} query what was played, and at what tempo
 * @param {string} [where] who is to judge it
 */
export async function judged(file, query, where = "/takes") {
  const sound = await decoded(file);
  query.set("rate", String(sound.sampleRate));
  query.set("uid", crypto.randomUUID());
  const body = new Uint8Array(mono(sound).buffer);
  const verdict = await fetchJson(`${where}?${query}`, { method: "POST", body });
  return { sound, verdict };
}
