// @ts-check
/** The microphone or interface: opened without any "improvement", heard block by block. */
import { context } from "./common.js";

/** @typedef {(frame: number, samples: Float32Array) => void} OnBlock */

export class Capture {
  /** @type {MediaStream | null} */ #stream = null;
  /** @type {AudioNode | null} */ #source = null;
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
    const ctx = context();
    await ctx.audioWorklet.addModule("/static/capture-worklet.js");
    await ctx.resume();
    const source = ctx.createMediaStreamSource(stream);
    const worklet = new AudioWorkletNode(ctx, "capture", { numberOfOutputs: 0 });
    worklet.port.onmessage = (event) => this.onblock(event.data.frame, event.data.samples);
    source.connect(worklet);
    track.addEventListener("ended", () => {
      this.close();
      this.onlost();
    });
    this.#stream = stream;
    this.#source = source;
  }

  close() {
    this.#source?.disconnect();
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#source = null;
    this.#stream = null;
  }
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
