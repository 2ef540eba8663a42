// Keeps a case's page as the record is: news from the server, decisions without loading the page
// anew, the sound of lines, and the microphone.
import { Microphone } from "/static/microphone.js";
import { Voice } from "/static/voice.js";

const record = document.getElementById("record");
const caseName = record.dataset.case;
const partial = document.getElementById("partial");
const linkState = document.getElementById("link-state");

function show(html) {
  // what a person is typing is not taken away
  if (record.querySelector("details[open] input:focus")) {
    record.dataset.waiting = "yes";
    return;
  }
  const open = [...record.querySelectorAll("details[open]")].map((details) => details.id);
  const focused = document.activeElement?.closest?.("form")?.action;
  const scrolled = record.querySelector(".whole")?.scrollTop ?? 0;
  record.innerHTML = html;
  delete record.dataset.waiting;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  const whole = record.querySelector(".whole");
  if (whole) whole.scrollTop = scrolled;
  if (focused) {
    const form = [...record.querySelectorAll("form")].find((f) => f.action === focused);
    (form?.querySelector("button") ?? record.querySelector(".at-hand button"))?.focus({ preventScroll: true });
  }
}

let newest = 0;
async function refresh() {
  const mine = ++newest;
  const answer = await fetch(`/cases/${caseName}/record`, { cache: "no-store" });
  if (answer.redirected) location.reload(); // the session has ended
  else if (answer.ok && mine === newest) show(await answer.text());
}

record.addEventListener("focusout", () => {
  if (record.dataset.waiting) setTimeout(refresh, 50);
});

record.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("[data-act]")) return;
  event.preventDefault();
  const button = form.querySelector("button");
  if (button.disabled) return;
  const fields = new URLSearchParams(new FormData(form, event.submitter)); // before it is disabled
  button.disabled = true;
  fields.set("part", "1");
  try {
    const answer = await fetch(form.action, { method: "POST", body: fields });
    if (answer.redirected) location.reload();
    const html = await answer.text();
    document.activeElement?.blur();
    if ([200, 409, 422].includes(answer.status) && !html.startsWith("<!doctype")) show(html);
    else told("The decision was not kept: " + answer.status, true);
  } catch {
    told("No connection: the decision was not kept. Try again.", true);
  } finally {
    button.disabled = false;
  }
});

const player = new Audio();
record.addEventListener("click", (event) => {
  const sound = event.target.closest("[data-sound]")?.dataset.sound;
  if (!sound) return;
  player.src = sound;
  player.play().catch(() => told("The sound of this line cannot be played.", true));
});

function told(words, isTrouble) {
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
  button.addEventListener("click", async () => {
    if (microphone?.on) return microphone.stop();
    microphone = new Microphone(caseName, tell);
    try {
      await microphone.start();
    } catch (problem) {
      tell(`The microphone cannot be used (${problem.message}).`, true);
    }
  });
}
