// Runs beside the sound card: hands over int16 pieces of a tenth of a second at 16 kHz.
const RATE = 16000;

// Brings sound of another rate to 16 kHz: a windowed sinc, looked up at 64 places between samples.
class Resampler {
  constructor(rate) {
    this.step = rate / RATE;
    const wide = Math.max(1, this.step);
    this.half = Math.ceil(16 * wide);
    this.table = new Float32Array(2 * this.half * 64 + 1);
    const cut = 0.46 / wide; // cycles a sample: 7.4 kHz, or less where the device has less
    for (let at = 0; at < this.table.length; at++) {
      const time = at / 64 - this.half;
      const angle = 2 * Math.PI * cut * time;
      const sinc = angle ? Math.sin(angle) / angle : 1;
      this.table[at] = 2 * cut * sinc * (0.5 + 0.5 * Math.cos((Math.PI * time) / this.half));
    }
    this.held = new Float32Array(0);
    this.next = 0; // where the next sample lies in what is held
  }

  take(values) {
    const sound = new Float32Array(this.held.length + values.length);
    sound.set(this.held);
    sound.set(values, this.held.length);
    const made = [];
    while (this.next + this.half < sound.length) {
      let sum = 0;
      const last = Math.floor(this.next + this.half);
      for (let at = Math.max(0, Math.ceil(this.next - this.half)); at <= last; at++) {
        sum += sound[at] * this.table[Math.round((at - this.next + this.half) * 64)];
      }
      made.push(sum);
      this.next += this.step;
    }
    const done = Math.max(0, Math.floor(this.next - this.half));
    this.held = sound.slice(done);
    this.next -= done;
    return made;
  }
}

class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.piece = new Int16Array(RATE / 10);
    this.filled = 0;
    this.resampler = sampleRate === RATE ? null : new Resampler(sampleRate);
  }
  process(inputs) {
    const channel = inputs[0][0];
    if (channel) {
      for (const value of this.resampler ? this.resampler.take(channel) : channel) {
        const limited = Math.max(-1, Math.min(1, value));
        this.piece[this.filled++] = Math.round(limited * 32767);
        if (this.filled === this.piece.length) {
          this.port.postMessage(this.piece.slice());
          this.filled = 0;
        }
      }
    }
    return true;
  }
}
registerProcessor("recorder", Recorder);
