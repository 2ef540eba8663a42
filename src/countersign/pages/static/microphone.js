// The microphone of a live case. What the server has not said it has is kept here and sent again
// after a break, so that a dropped connection loses nothing.
const RATE = 16000;
const LONGEST = 600 * RATE; // ten minutes without a connection
const LONGEST_OVER = 90 * RATE; // what the storage of a tab surely holds

export class Microphone {
  constructor(caseName, tell) {
    this.caseName = caseName;
    this.tell = tell;
    this.take = null;
    this.pieces = []; // [first sample, Int16Array], not yet known to be kept
    this.spoken = 0; // samples of this take so far
    this.on = false;
    this.lost = 0;
  }

  // The microphone of this page before it was loaded anew, if it was on: it goes on with its take,
  // and with what was not sent. A copy of the tab is another page, and begins nothing.
  static before(caseName, tell) {
    const kept = JSON.parse(sessionStorage.getItem("microphone") ?? "null");
    sessionStorage.removeItem("microphone");
    const again = document.wasDiscarded || performance.getEntriesByType("navigation")[0]?.type === "reload";
    if (kept?.caseName !== caseName || !again) return null;
    const microphone = new Microphone(caseName, tell);
    microphone.take = kept.take;
    microphone.spoken = kept.spoken;
    microphone.left = kept.left;
    if (kept.length) {
      const bytes = Uint8Array.from(atob(kept.sound), (each) => each.charCodeAt(0));
      const sound = new Int16Array(bytes.buffer);
      for (let at = 0; at < sound.length; at += RATE) {
        microphone.pieces.push([kept.first + at, sound.slice(at, at + RATE)]);
      }
    }
    return microphone;
  }

  leave() {
    if (!this.on) return;
    while (this.pieces.length && this.spoken - this.pieces[0][0] > LONGEST_OVER) this.pieces.shift();
    const parts = this.pieces.map(([, piece]) => {
      return String.fromCharCode(...new Uint8Array(piece.buffer, piece.byteOffset, piece.byteLength));
    });
    sessionStorage.setItem("microphone", JSON.stringify({
      caseName: this.caseName, take: this.take, spoken: this.spoken, left: Date.now(),
      first: this.pieces[0]?.[0] ?? this.spoken, length: this.pieces.length, sound: btoa(parts.join("")),
    }));
  }

  async start() {
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: true },
    });
    this.stream = stream;
    const source = await this.source(stream);
    await this.context.audioWorklet.addModule("/static/recorder.js");
    const recorder = new AudioWorkletNode(this.context, "recorder", { numberOfOutputs: 0 });
    source.connect(recorder);
    recorder.port.onmessage = (message) => this.heard(message.data);
    this.on = true;
    stream.getAudioTracks()[0].onended = () => this.stop("The microphone was unplugged.");
    window.addEventListener("pagehide", this.leaving = () => this.leave());
    window.addEventListener("beforeunload", this.asking = (event) => {
      if (this.spoken - (this.pieces[0]?.[0] ?? this.spoken) > LONGEST_OVER) event.preventDefault();
    });
    this.connect();
    await this.stayAwake();
    document.addEventListener("visibilitychange", this.woken = () => {
      if (document.visibilityState === "visible") {
        this.context.resume();
        this.stayAwake();
      }
    });
  }

  // Firefox takes a microphone only at the rate of its device; recorder.js brings it to ours.
  async source(stream) {
    try {
      this.context = new AudioContext({ sampleRate: RATE });
      return this.context.createMediaStreamSource(stream);
    } catch {
      await this.context?.close();
      this.context = new AudioContext();
      return this.context.createMediaStreamSource(stream);
    }
  }

  async stayAwake() {
    try {
      this.lock = await navigator.wakeLock.request("screen");
    } catch {
      this.lock = null; // not every browser can
    }
  }

  // While the count is read back the microphone hears the program itself: silence is sent instead.
  deafen(deaf) {
    this.deaf = deaf;
    if (this.on) this.tell(deaf ? "The count is read back; the microphone waits." : "The microphone is on.", false);
  }

  // Whether somebody spoke within the last moment: far louder than the quietest of late, which
  // follows a noise that begins within seconds.
  hears() {
    return performance.now() - (this.loudAt ?? -Infinity) < 350;
  }

  weigh(piece) {
    let sum = 0;
    for (const value of piece) sum += value * value;
    const level = Math.sqrt(sum / piece.length);
    this.quietest = Math.min(level, (this.quietest ?? level) * 1.02 + 1);
    if (level > 4 * this.quietest + 60) this.loudAt = performance.now();
  }

  heard(piece) {
    this.weigh(piece);
    if (this.deaf) piece.fill(0);
    if (this.left) { // what was said while the page was away is missing, and the server notes it
      this.spoken += Math.max(0, Math.round((Date.now() - this.left) / 1000 * RATE) - piece.length);
      this.left = 0;
    }
    this.pieces.push([this.spoken, piece]);
    this.spoken += piece.length;
    while (this.pieces.length && this.spoken - this.pieces[0][0] > LONGEST) {
      this.lost += this.pieces.shift()[1].length;
    }
    this.send();
  }

  connect() {
    if (!this.on) return;
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const socket = new WebSocket(`${scheme}://${location.host}/cases/${this.caseName}/hear`);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    this.ready = false;
    socket.onopen = () => socket.send(JSON.stringify({ take: this.take }));
    socket.onmessage = (message) => this.answered(JSON.parse(message.data));
    socket.onclose = (closed) => {
      this.ready = false;
      if (!this.on || this.socket !== socket) return;
      if (closed.code === 4401 || closed.code === 4404 || closed.code === 4409) {
        this.stop(closed.reason || "The server refused the microphone.");
        return;
      }
      if (closed.code === 4413) this.startAnew();
      const kept = Math.round((this.spoken - (this.pieces[0]?.[0] ?? this.spoken)) / RATE);
      this.tell(`No connection; ${kept} s of sound are kept here and will be sent.`, true);
      setTimeout(() => this.connect(), 1000);
    };
  }

  // The server's clock was set back, and it holds what came during the break for too much: the
  // newest of it begins a new take.
  startAnew() {
    this.take = null;
    while (this.pieces.length && this.spoken - this.pieces[0][0] > 30 * RATE) {
      this.lost += this.pieces.shift()[1].length;
    }
  }

  answered(answer) {
    if (answer.taken_over) return;
    if (answer.take !== undefined && answer.take !== this.take) {
      // a new take counts from its own start: what is still here becomes its beginning
      const first = this.pieces[0]?.[0] ?? this.spoken;
      this.pieces = this.pieces.map(([at, piece]) => [at - first, piece]);
      this.spoken -= first;
      this.take = answer.take;
    }
    this.pieces = this.pieces.filter(([at, piece]) => at + piece.length > answer.have);
    if (!this.ready) {
      this.ready = true;
      this.sent = answer.have;
      this.tell(this.lost ? "The microphone is on; some sound was lost." : "The microphone is on.", false);
      this.send();
    }
  }

  send() {
    if (!this.ready || this.socket.readyState !== WebSocket.OPEN) return;
    for (const [at, piece] of this.pieces) {
      if (at + piece.length <= this.sent) continue;
      if (this.socket.bufferedAmount > 4 * RATE * 2) return;
      const message = new ArrayBuffer(8 + piece.length * 2);
      new DataView(message).setBigUint64(0, BigInt(at), true);
      new Int16Array(message, 8).set(piece);
      this.socket.send(message);
      this.sent = at + piece.length;
    }
  }

  stop(why = "The microphone is off.") {
    this.on = false;
    this.stream?.getTracks().forEach((track) => track.stop());
    this.context?.close();
    this.lock?.release();
    document.removeEventListener("visibilitychange", this.woken);
    window.removeEventListener("pagehide", this.leaving);
    window.removeEventListener("beforeunload", this.asking);
    const socket = this.socket;
    // let the last pieces go out before the connection ends
    setTimeout(() => socket?.close(1000), 300);
    this.tell(why, why !== "The microphone is off.");
  }
}
