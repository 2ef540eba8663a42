// Keeps a case's page as the record is: news from the server, decisions without loading the page
// anew, the sound of lines, and the microphone.
import { Microphone } from "/static/microphone.js";
import { renew } from "/static/renew.js";
import { Voice } from "/static/voice.js";

const record = document.getElementById("record");
const caseName = record.dataset.case;
const partial = document.getElementById("partial");
const linkState = document.getElementById("link-state");

const SETTLE_MS = 700;

// What is under a finger may just have changed: for a moment no decision is taken.
function settle() {
  for (const control of record.querySelectorAll("[data-act] [type=submit]")) {
    if (control.closest("details")) continue; // a form that was filled in is no slip
    control.setAttribute("aria-disabled", "true");
    setTimeout(() => control.removeAttribute("aria-disabled"), SETTLE_MS);
  }
}

// How high the bar is that stays in view: nothing that is jumped to, or has the focus, is under it.
new ResizeObserver(() => {
  const bar = document.getElementById("state");
  document.documentElement.style.setProperty("--bar", `${bar.offsetHeight}px`);
}).observe(document.getElementById("state"));

function atHand() {
  const accept = record.querySelector(".at-hand .main");
  return `${accept?.form.action} ${Math.round(accept?.getBoundingClientRect().top ?? 0)}`;
}

function show(html) {
  const before = atHand();
  renew(record, html);
  if (atHand() !== before) settle();
}

let newest = 0;
async function refresh() {
  const mine = ++newest;
  try {
    const answer = await fetch(`/cases/${caseName}/record`, { cache: "no-store" });
    if (answer.redirected) return location.reload(); // the session has ended
    const html = await answer.text();
    if (answer.ok && mine === newest) show(html);
  } catch {
    told("No connection to the server; this page may be behind.", true); // news comes again with it
  }
}

record.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("[data-act]")) return;
  event.preventDefault();
  if (form.dataset.sending || event.submitter?.getAttribute("aria-disabled")) return;
  const fields = new URLSearchParams(new FormData(form, event.submitter));
  fields.set("only", "record");
  form.dataset.sending = "yes";
  try {
    const answer = await fetch(form.action, { method: "POST", body: fields });
    if (answer.redirected) return location.reload();
    const html = await answer.text();
    if (![200, 409, 422].includes(answer.status) || html.startsWith("<!doctype")) {
      return told("The decision was not kept: " + answer.status, true, "decision");
    }
    newest += 1; // a view that was asked for before is older than this one
    told("", false, "decision");
    show(html);
    const around = form.isConnected && answer.ok ? form.closest("details") : null;
    if (around) {
      form.reset();
      around.querySelector("summary").focus();
      around.open = false;
    }
    settle(); // a second tap of the same finger
    record.querySelector("[role=alert]")?.scrollIntoView({ block: "center" });
  } catch {
    told("No connection: the decision was not kept. Try again.", true, "decision");
  } finally {
    delete form.dataset.sending;
  }
});

// A form that was opened below the edge of the screen comes into view.
record.addEventListener("toggle", (event) => {
  if (event.target.open) event.target.querySelector("form")?.scrollIntoView({ block: "nearest" });
}, true);

const player = new Audio();
record.addEventListener("click", (event) => {
  const sound = event.target.closest("[data-sound]")?.dataset.sound;
  if (!sound) return;
  player.src = sound;
  player.play().catch(() => told("The sound of this line cannot be played.", true));
});

// A decision that was not kept stays told until one is kept; trouble with the link, until it is well.
function told(words, isTrouble, about = "link") {
  if (!isTrouble && linkState.dataset.about !== about) return;
  if (isTrouble && about === "link" && !linkState.hidden && linkState.dataset.about === "decision") return;
  linkState.dataset.about = about;
  linkState.textContent = words;
  linkState.hidden = !isTrouble;
}

let microphone = null;
const voice = new Voice(() => microphone);
for (const [id, what] of [["tones", "tones"], ["aloud", "aloud"]]) {
  const control = document.getElementById(id);
  control?.setAttribute("aria-pressed", String(voice.wants(what)));
  control?.addEventListener("click", () => {
    control.setAttribute("aria-pressed", String(voice.turn(what)));
  });
  if (control) control.disabled = false; // a tap before this would have been lost
}

let wait = 500;
function watch() {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  const socket = new WebSocket(`${scheme}://${location.host}/cases/${caseName}/watch`);
  let heardFrom = Date.now();
  const alive = setInterval(() => {
    if (Date.now() - heardFrom > 40000) socket.close();
  }, 5000);
  socket.onmessage = (message) => {
    heardFrom = Date.now();
    wait = 500;
    told("", false);
    const news = JSON.parse(message.data);
    if (news.partial !== undefined && partial) {
      partial.textContent = news.partial ? `“${news.partial}”` : "";
      voice.somebodySpeaks(Boolean(news.partial));
    }
    if (news.behind !== undefined) {
      told(`Listening is ${news.behind} s behind what was said; lines are still to come.`, news.behind > 0, "late");
    }
    if (news.line) voice.tone(news.asks);
    if (news.read_back) voice.readBack(caseName, news.read_back);
    if (news.trouble) told(news.trouble, true);
    if (news.changed) refresh();
    if (news.ended) location.reload();
  };
  socket.onclose = (closed) => {
    clearInterval(alive);
    if (closed.code === 4401) return location.reload();
    told("No connection to the server; this page may be behind.", true);
    setTimeout(watch, wait);
    wait = Math.min(wait * 2, 5000);
  };
}
watch();

const button = document.getElementById("microphone");
if (button) {
  const state = document.getElementById("hearing-state");
  const tell = (words, isTrouble) => {
    state.textContent = words;
    state.classList.toggle("trouble", Boolean(isTrouble));
    const on = Boolean(microphone?.on);
    button.setAttribute("aria-pressed", String(on));
    button.textContent = on ? "Switch the microphone off" : "Switch the microphone on";
  };
  const start = async (which) => {
    microphone = which;
    try {
      await microphone.start();
    } catch (problem) {
      tell(`The microphone cannot be used (${problem.message}).`, true);
    }
  };
  button.addEventListener("click", () => {
    if (microphone?.on) return microphone.stop();
    start(new Microphone(caseName, tell));
  });
  button.disabled = false;
  const before = Microphone.before(caseName, tell);
  if (before) start(before);
}
