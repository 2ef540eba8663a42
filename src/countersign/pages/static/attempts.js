// While recordings are measured the page says how far it is, and loads anew at the end.
const progress = document.getElementById("progress");

async function look() {
  try {
    const now = await (await fetch("/attempts/progress")).json();
    progress.textContent = `${now.done} of ${now.total} recordings are measured.`;
    const bar = document.querySelector("progress");
    if (bar) [bar.max, bar.value] = [now.total, now.done];
    if (now.done >= now.total) return location.reload();
  } catch {
    // the next look may find the server again
  }
  setTimeout(look, 1500);
}
if (Number(progress.dataset.left)) setTimeout(look, 1000);
