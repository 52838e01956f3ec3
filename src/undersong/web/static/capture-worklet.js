// @ts-check
/**
 * Runs in the audio thread, where a browser does not hand out the track itself: gathers what comes
 * in into blocks of one channel, each with the number of its first frame on the context's clock.
 */

const BLOCK = 1024;

class Capture extends AudioWorkletProcessor {
  #block = new Float32Array(BLOCK);
  #filled = 0;
  #frame = 0;

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    const channels = inputs[0];
    if (!channels.length) return true;
    if (!this.#filled) this.#frame = currentFrame;
    else if (currentFrame !== this.#frame + this.#filled) this.#send(currentFrame);
    for (let n = 0; n < channels[0].length; n += 1) {
      let sum = 0;
      for (const channel of channels) sum += channel[n];
      this.#block[this.#filled] = sum / channels.length;
      this.#filled += 1;
    }
    if (this.#filled === BLOCK) this.#send(currentFrame + channels[0].length);
    return true;
  }

  /** @param {number} next */
  #send(next) {
    const samples = this.#block.slice(0, this.#filled);
    this.port.postMessage({ frame: this.#frame, samples }, [samples.buffer]);
    this.#filled = 0;
    this.#frame = next;
  }
}

registerProcessor("capture", Capture);
