// Two short tones, and the count read back: only when nobody speaks, and only where it is wanted.
// Who speaks is heard at once where the microphone is on this page; else the server's words say so,
// which come later.
const LONGEST_NOISE_MS = 3000; // what goes on for longer without any words is no speech

export class Voice {
  constructor(microphone) {
    this.microphone = microphone; // gives the microphone of this page, if it is on
    this.speaking = false;
    this.spoken = 0;
    this.waiting = []; // what is to be heard once nobody speaks
    this.player = new Audio();
    this.player.onended = this.player.onpause = () => this.player.paused && this.over();
    this.player.onerror = () => this.over();
  }

  wants(what) {
    return localStorage.getItem(what) === "on";
  }

  turn(what) {
    const on = !this.wants(what);
    localStorage.setItem(what, on ? "on" : "off");
    if (what === "tones" && on) this.tone(false); // so that it is known before it is needed
    if (what === "aloud" && !on) this.player.pause();
    return on;
  }

  somebodySpeaks(speaking) {
    this.speaking = speaking;
    clearTimeout(this.next);
    if (speaking) {
      this.player.pause();
      for (const sound of this.sounding ?? []) sound.stop(); // never over what is said
      this.sounding = [];
    } else this.next = setTimeout(() => this.playWaiting(), 300);
  }

  playWaiting(since = performance.now()) {
    clearTimeout(this.next);
    if (this.speaking || !this.waiting.length) return;
    if (this.microphone()?.hears() && performance.now() - since < LONGEST_NOISE_MS) {
      this.next = setTimeout(() => this.playWaiting(since), 50);
      return;
    }
    this.waiting.shift()();
  }

  // one high tone: heard; two falling tones: a question
  tone(asks) {
    if (!this.wants("tones")) return;
    this.whenQuiet(() => {
      this.context ??= new AudioContext();
      this.context.resume();
      const start = this.context.currentTime + 0.02;
      this.sounding = [];
      for (const [pitch, at] of asks ? [[660, 0], [440, 0.13]] : [[880, 0]]) {
        const sound = this.context.createOscillator();
        const level = this.context.createGain();
        sound.frequency.value = pitch;
        level.gain.setValueAtTime(0, start + at);
        level.gain.linearRampToValueAtTime(0.25, start + at + 0.01);
        level.gain.linearRampToValueAtTime(0, start + at + 0.11);
        sound.connect(level).connect(this.context.destination);
        sound.start(start + at);
        sound.stop(start + at + 0.12);
        this.sounding.push(sound);
      }
      document.body.dataset.toned = asks ? "question" : "heard";
    });
  }

  // only beside the microphone: this page then sends silence, so that no number that the program
  // says itself is ever heard as a count
  readBack(caseName, group) {
    if (!this.wants("aloud") || !this.microphone()?.on) return;
    this.whenQuiet(() => {
      clearTimeout(this.ending);
      this.microphone()?.deafen(true);
      document.body.dataset.readBack = group;
      this.player.src = `/cases/${caseName}/read-back?group=${encodeURIComponent(group)}&n=${++this.spoken}`;
      const begun = this.player.src;
      this.player.play().catch(() => this.player.src === begun && this.over());
    });
  }

  over() {
    clearTimeout(this.ending);
    this.ending = setTimeout(() => this.microphone()?.deafen(false), 300); // the room rings on
  }

  whenQuiet(play) {
    this.waiting = [play]; // the newest is enough
    if (!this.speaking) this.playWaiting();
  }
}
