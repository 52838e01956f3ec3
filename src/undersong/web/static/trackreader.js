// @ts-check
/**
 * The samples of a track as it delivers them, with the time each was captured. The way through the
 * audio graph has a short buffer of its own, which a busy computer makes run dry or run over, and
 * then sound is gone without a trace; read here, what is missing is seen by the time stamps.
 */

const BLOCK = 1024;
const WAITING = 2000; // pieces of a hundredth of a second that may wait while the page is busy
const APART_S = 0.003;
const FOREIGN_S = 1; // a time stamp so far from this page's own clock counts from elsewhere

/**
 * @typedef {object} AudioPiece
 * @property {number} timestamp microseconds
 * @property {number} numberOfFrames
 * @property {number} numberOfChannels
 * @property {number} sampleRate
 * @property {(to: Float32Array, how: { planeIndex: number, format: string }) => void} copyTo
 * @property {() => void} close
 * @typedef {new (init: { track: MediaStreamTrack, maxBufferSize: number }) =>
 *   { readable: ReadableStream<AudioPiece> }} TrackProcessor
 */

/** What reads tracks in this browser, or null. */
export function trackProcessor() {
  const named = /** @type {Record<string, unknown>} */ (/** @type {unknown} */ (globalThis));
  return /** @type {TrackProcessor | null} */ (named.MediaStreamTrackProcessor ?? null);
}

export class TrackReader {
  rate = 0;
  /** @type {(frame: number, samples: Float32Array, time_s: number) => void} */ onblock = () => {};
  #reader;
  #block = new Float32Array(BLOCK);
  #filled = 0;
  #frame = 0; // of the block's beginning
  #time = 0; // on this page's clock, in seconds, of the block's beginning
  /** @type {number | null} */ #foreign = null;

  /**
   * @param {TrackProcessor} Processor
   * @param {MediaStreamTrack} track
   */
  constructor(Processor, track) {
    this.#reader = new Processor({ track, maxBufferSize: WAITING }).readable.getReader();
  }

  /** Read on until closed; resolves when the first sound is in. */
  async open() {
    await this.#next();
    this.#goOn();
  }

  async #goOn() {
    while (await this.#next());
  }

  close() {
    this.onblock = () => {};
    this.#reader.cancel().catch(() => {}); // the track may have ended first
  }

  async #next() {
    const { value, done } = await this.#reader.read();
    if (done || !value) return false;
    this.rate = value.sampleRate;
    const samples = mixed(value);
    const time = this.#own(value.timestamp / 1e6);
    value.close();
    this.#take(samples, time);
    return true;
  }

  /**
   * A time stamp on this page's own clock.
   * @param {number} time_s
   */
  #own(time_s) {
    if (this.#foreign === null) {
      const apart = performance.now() / 1000 - time_s;
      this.#foreign = Math.abs(apart) > FOREIGN_S ? apart : 0;
    }
    return time_s + this.#foreign;
  }

  /**
   * @param {Float32Array} samples
   * @param {number} time_s of the first
   */
  #take(samples, time_s) {
    const due = this.#time + this.#filled / this.rate;
    if (this.#filled && Math.abs(time_s - due) > APART_S) this.#send(); // a hole is at a block's edge
    for (let at = 0; at < samples.length; ) {
      if (!this.#filled) this.#time = time_s + at / this.rate;
      const count = Math.min(BLOCK - this.#filled, samples.length - at);
      this.#block.set(samples.subarray(at, at + count), this.#filled);
      this.#filled += count;
      at += count;
      if (this.#filled === BLOCK) this.#send();
    }
  }

  #send() {
    const frame = this.#frame;
    const samples = this.#block.slice(0, this.#filled);
    this.#frame += this.#filled;
    this.#filled = 0;
    this.onblock(frame, samples, this.#time);
  }
}

/** @param {AudioPiece} piece */
function mixed(piece) {
  const samples = new Float32Array(piece.numberOfFrames);
  piece.copyTo(samples, { planeIndex: 0, format: "f32-planar" });
  if (piece.numberOfChannels === 1) return samples;
  const other = new Float32Array(piece.numberOfFrames);
  for (let planeIndex = 1; planeIndex < piece.numberOfChannels; planeIndex += 1) {
    piece.copyTo(other, { planeIndex, format: "f32-planar" });
    for (let n = 0; n < samples.length; n += 1) samples[n] += other[n];
  }
  for (let n = 0; n < samples.length; n += 1) samples[n] /= piece.numberOfChannels;
  return samples;
}
