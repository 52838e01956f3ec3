// @ts-check
/**
 * One take on its way to the ear. Every block is kept here until the verdict is in: if the
 * connection goes, the whole take is sent again under its own name when it is back.
 *
 * @typedef {{ type: "verdict", take: number, outcome: string, next_bpm: number, html: string,
 *   cautions: { kind: string, text: string }[], ask_pain: boolean }} Verdict
 */

const AGAIN_MS = 1000;

/**
 * A block as it travels: its first frame's number and time, then its samples, all little-endian.
 * @param {number} frame
 * @param {Float32Array} samples
 * @param {number} time_s
 */
export function packed(frame, samples, time_s) {
  const message = new ArrayBuffer(16 + 4 * samples.length);
  const head = new DataView(message);
  head.setFloat64(0, frame, true);
  head.setFloat64(8, time_s, true);
  new Float32Array(message, 16).set(samples);
  return message;
}

export class TakeStream {
  uid = crypto.randomUUID();
  /** @type {{ frame: number, samples: Float32Array, time_s: number }[]} */ blocks = [];
  #begin;
  #isEnded = false;
  #isDone = false;
  #sent = 0;
  #connections = 0;
  /** @type {WebSocket | null} */ #socket = null;
  /** @type {(verdict: Verdict) => void} */ #resolve = () => {};
  /** @type {(error: Error) => void} */ #reject = () => {};
  /** @type {(isThere: boolean) => void} */ onconnection = () => {};
  /** @type {(said: import("./live.js").LiveMessage[]) => void} */ onlive = () => {};
  /** @type {Promise<Verdict>} */ verdict;

  /**
   * @param {{ query: Record<string, string>, tempo: number, sample_rate: number,
   *   start_time?: number | null, about_time?: number, session?: boolean }} begin a session is practice without a script
   */
  constructor(begin) {
    this.#begin = begin;
    this.verdict = new Promise((resolve, reject) => {
      this.#resolve = resolve;
      this.#reject = reject;
    });
    this.verdict.catch(() => {}); // whoever waits for it is told; nobody may be waiting yet
    this.#connect();
  }

  #connect() {
    if (this.#isDone) return;
    const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/listen`);
    this.#socket = socket;
    this.#connections += 1;
    socket.onopen = () => {
      this.onconnection(true);
      // A take that is sent once more is only judged: what could be said of it live is past.
      const live = this.#connections === 1 && !this.#begin.session;
      socket.send(JSON.stringify({ type: "begin", uid: this.uid, live, ...this.#begin }));
      this.#sent = 0;
      this.#send();
    };
    socket.onmessage = (event) => {
      const told = JSON.parse(event.data);
      if (told.type === "live") return this.onlive(told.said);
      this.#isDone = true;
      socket.close();
      if (told.type === "verdict") this.#resolve(told);
      else this.#reject(new Error(told.message));
    };
    socket.onclose = () => {
      if (this.#isDone) return;
      this.onconnection(false);
      setTimeout(() => this.#connect(), AGAIN_MS);
    };
  }

  #send() {
    const socket = this.#socket;
    if (!socket || socket.readyState !== WebSocket.OPEN) return;
    for (; this.#sent < this.blocks.length; this.#sent += 1) {
      const { frame, samples, time_s } = this.blocks[this.#sent];
      socket.send(packed(frame, samples, time_s));
    }
    if (this.#isEnded) socket.send(JSON.stringify({ type: "end" }));
  }

  /**
   * @param {number} frame
   * @param {Float32Array} samples
   * @param {number} time_s when the first was captured, on the click's clock
   */
  add(frame, samples, time_s) {
    if (this.#isEnded || this.#isDone) return;
    this.blocks.push({ frame, samples, time_s });
    this.#send();
  }

  end() {
    if (this.#isEnded) return;
    this.#isEnded = true;
    this.#send();
  }

  drop() {
    this.#isDone = true;
    if (this.#socket?.readyState === WebSocket.OPEN) {
      this.#socket.send(JSON.stringify({ type: "drop" }));
    }
    this.#socket?.close();
  }

  /**
   * The take as one sound.
   * @param {BaseAudioContext} ctx
   */
  buffer(ctx) {
    if (!this.blocks.length) return null;
    const first = this.blocks[0].frame;
    const last = this.blocks[this.blocks.length - 1];
    const buffer = ctx.createBuffer(1, last.frame + last.samples.length - first, this.#begin.sample_rate);
    const channel = buffer.getChannelData(0);
    for (const { frame, samples } of this.blocks) channel.set(samples, frame - first);
    return buffer;
  }
}
