// @ts-check
/**
 * The microphone or interface: opened without any "improvement", heard block by block. Each block
 * has the number of its first frame, counted as it came in, and when that frame was captured, in
 * seconds on the audio context's clock: the one the click is laid on.
 */
import { context } from "./common.js";
import { TrackReader, trackProcessor } from "./trackreader.js";

const FIRST_SOUND_MS = 5000;
const SILENT = "Nothing comes in from this input: is it switched on? Choose another under Getting set.";

/** @typedef {(frame: number, samples: Float32Array, time_s: number) => void} OnBlock */

export class Capture {
  /** @type {MediaStream | null} */ #stream = null;
  /** @type {AudioNode | null} */ #source = null;
  /** @type {TrackReader | null} */ #reader = null;
  /** @type {OnBlock} */ onblock = () => {};
  /** @type {() => void} */ onlost = () => {};

  get isOpen() {
    return this.#stream !== null;
  }

  /** The name of the open input. */
  get label() {
    return this.#stream?.getAudioTracks()[0]?.label ?? "";
  }

  /** Open the chosen input; throws one sentence where that cannot be. */
  async open() {
    if (this.#stream) return;
    if (!navigator.mediaDevices) {
      throw new Error("This page cannot use a microphone: open it at 127.0.0.1 or over HTTPS.");
    }
    const id = localStorage.getItem("input");
    const asked = {
      echoCancellation: false,
      noiseSuppression: false,
      autoGainControl: false,
      channelCount: { ideal: 1 },
      ...(id ? { deviceId: { ideal: id } } : {}),
    };
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ audio: asked });
    } catch (error) {
      throw new Error(refusal(error));
    }
    const [track] = stream.getAudioTracks();
    const got = track.getSettings();
    const spoiled = ["echoCancellation", "noiseSuppression", "autoGainControl"].filter(
      (name) => /** @type {Record<string, unknown>} */ (got)[name] === true,
    );
    if (spoiled.length) {
      track.stop();
      throw new Error(
        `This input changes the sound (${spoiled.join(", ")}) and cannot be judged: choose another under Getting set.`,
      );
    }
    this.#stream = stream;
    const ctx = context();
    await ctx.resume();
    const Processor = trackProcessor();
    if (Processor) await this.#readTrack(ctx, new TrackReader(Processor, track));
    else await this.#readGraph(ctx, stream);
    track.addEventListener("ended", () => {
      this.close();
      this.onlost();
    });
  }

  /** This moment on the clock that blocks are timed by, in seconds. */
  get now() {
    const ctx = context();
    return this.#reader ? performance.now() / 1000 + ahead(ctx) : ctx.currentTime;
  }

  /** The round trip as the browser believes it to be, in seconds; near enough to know notes by. */
  get believedTrip() {
    const track = this.#stream?.getAudioTracks()[0];
    const settings = /** @type {{ latency?: number } | undefined} */ (track?.getSettings());
    return (context().outputLatency || context().baseLatency || 0) + (settings?.latency ?? 0);
  }

  /** Samples a second of what comes in. */
  get rate() {
    return this.#reader?.rate ?? context().sampleRate;
  }

  /**
   * @param {AudioContext} ctx
   * @param {TrackReader} reader
   */
  async #readTrack(ctx, reader) {
    reader.onblock = (frame, samples, time_s) => this.onblock(frame, samples, time_s + ahead(ctx));
    this.#reader = reader;
    const silent = new Promise((_, refuse) => setTimeout(refuse, FIRST_SOUND_MS, new Error(SILENT)));
    try {
      await Promise.race([reader.open(), silent]);
    } catch (error) {
      this.close();
      throw error;
    }
  }

  /**
   * Where the browser hands out no track: through the audio graph, counted by its own clock.
   * @param {AudioContext} ctx
   * @param {MediaStream} stream
   */
  async #readGraph(ctx, stream) {
    await ctx.audioWorklet.addModule("/static/capture-worklet.js");
    const source = ctx.createMediaStreamSource(stream);
    const worklet = new AudioWorkletNode(ctx, "capture", { numberOfOutputs: 0 });
    worklet.port.onmessage = ({ data }) =>
      this.onblock(data.frame, data.samples, data.frame / ctx.sampleRate);
    source.connect(worklet);
    this.#source = source;
  }

  close() {
    this.#reader?.close();
    this.#reader = null;
    this.#source?.disconnect();
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#source = null;
    this.#stream = null;
  }
}

/**
 * By how much the context's clock is ahead of the page's own, in seconds, as of now.
 * @param {AudioContext} ctx
 */
function ahead(ctx) {
  const { contextTime = 0, performanceTime = 0 } = ctx.getOutputTimestamp();
  if (!performanceTime) return ctx.currentTime - performance.now() / 1000; // nothing sounded yet
  return contextTime - performanceTime / 1000;
}

/** @param {unknown} error */
function refusal(error) {
  const name = error instanceof DOMException ? error.name : "";
  if (name === "NotAllowedError") {
    return "The microphone was refused. Allow it for this page in the browser's address bar, and press again.";
  }
  if (name === "NotFoundError") return "No microphone or interface is plugged in.";
  if (name === "NotReadableError") return "Another program holds the microphone: close it, and press again.";
  return `The microphone could not be opened: ${error instanceof Error ? error.message : error}`;
}

/**
 * The round trip of this input in seconds, where it was measured (Getting set).
 * @param {string} label
 * @returns {number | null}
 */
export function roundTrip(label) {
  const kept = localStorage.getItem(`round trip ${label}`);
  return kept === null ? null : Number(kept);
}
