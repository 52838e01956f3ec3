// What the audio thread has, and the compiler's own library does not describe.
declare const currentFrame: number;
declare function registerProcessor(name: string, processor: typeof AudioWorkletProcessor): void;
declare abstract class AudioWorkletProcessor {
  readonly port: MessagePort;
  abstract process(inputs: Float32Array[][]): boolean;
}
