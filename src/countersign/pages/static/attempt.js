// Sound, waveform and lists in step: what is heard now is marked, and a click goes there.
const sound = document.getElementById("sound");
const strip = document.getElementById("strip");
const now = document.getElementById("now");
const duration = Number(strip.dataset.duration) || 1;
const parts = [...document.querySelectorAll("[data-from]")];

function follow() {
  const picture = strip.querySelector("svg");
  const x = (sound.currentTime / duration) * picture.viewBox.baseVal.width;
  now.setAttribute("x1", x);
  now.setAttribute("x2", x);
  if (!sound.paused && (x < strip.scrollLeft || x > strip.scrollLeft + strip.clientWidth * 0.8)) {
    strip.scrollLeft = x - strip.clientWidth * 0.2;
  }
  for (const part of parts) {
    const here = sound.currentTime >= Number(part.dataset.from) - 0.05 && sound.currentTime <= Number(part.dataset.to);
    if (here) part.setAttribute("aria-current", "true");
    else part.removeAttribute("aria-current");
  }
}
sound.addEventListener("timeupdate", follow);
sound.addEventListener("seeked", follow);

function go(seconds) {
  sound.currentTime = seconds;
  sound.play().catch(() => {});
}
document.addEventListener("click", (event) => {
  const place = event.target.closest("[data-at]");
  if (place) return go(Number(place.dataset.at));
  const picture = event.target.closest("svg.timeline");
  if (picture) {
    const box = picture.getBoundingClientRect();
    go(((event.clientX - box.left) / box.width) * duration);
  }
});
sound.addEventListener("pause", () => {
  for (const field of document.querySelectorAll(".at-now")) field.value = sound.currentTime.toFixed(1);
});
for (const place of document.querySelectorAll("button[data-at]")) place.disabled = false;
