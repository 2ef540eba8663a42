// Runs beside the sound card: hands over int16 pieces of a tenth of a second.
class Recorder extends AudioWorkletProcessor {
  constructor() {
    super();
    this.piece = new Int16Array(1600);
    this.filled = 0;
  }
  process(inputs) {
    const channel = inputs[0][0];
    if (channel) {
      for (const value of channel) {
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
