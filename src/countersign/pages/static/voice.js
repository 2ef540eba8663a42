// Two short tones, and the count read back: only when nobody speaks, and only where it is wanted.
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
    if (speaking) this.player.pause();
    clearTimeout(this.next);
    if (!speaking) this.next = setTimeout(() => this.speaking || this.waiting.shift()?.(), 300);
  }

  // one high tone: heard; two falling tones: a question
  tone(asks) {
    if (!this.wants("tones")) return;
    this.whenQuiet(() => {
      this.context ??= new AudioContext();
      this.context.resume();
      const start = this.context.currentTime + 0.02;
      for (const [pitch, at] of asks ? [[660, 0], [440, 0.18]] : [[880, 0]]) {
        const sound = this.context.createOscillator();
        const level = this.context.createGain();
        sound.frequency.value = pitch;
        level.gain.setValueAtTime(0, start + at);
        level.gain.linearRampToValueAtTime(0.25, start + at + 0.01);
        level.gain.linearRampToValueAtTime(0, start + at + 0.14);
        sound.connect(level).connect(this.context.destination);
        sound.start(start + at);
        sound.stop(start + at + 0.15);
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
    if (!this.speaking) return play();
    this.waiting = [play]; // the newest is enough
  }
}
