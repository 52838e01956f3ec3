// @ts-check
/** A take from elsewhere: any recording the browser can read, as samples of one channel. */
import { context } from "./common.js";

const LONGEST_S = 20 * 60;

/** @param {File} file */
export async function decoded(file) {
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
export function mono(sound) {
  const mixed = new Float32Array(sound.length);
  for (let channel = 0; channel < sound.numberOfChannels; channel += 1) {
    const samples = sound.getChannelData(channel);
    for (let n = 0; n < mixed.length; n += 1) mixed[n] += samples[n] / sound.numberOfChannels;
  }
  return mixed;
}
