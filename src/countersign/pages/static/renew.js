// Brings a part of the page up to date without taking anything out of a person's hands: what is
// equal stays the very same element, so that the focus, an open form and what was typed remain.
export function renew(old, html) {
  const fresh = old.cloneNode(false);
  fresh.innerHTML = html;
  const around = path(document.activeElement, old);
  children(old, fresh);
  if (around.length && !old.contains(document.activeElement)) refocus(around, old);
}

function path(element, root) {
  const found = [];
  if (!root.contains(element)) return found;
  for (let each = element; each && each !== root; each = each.parentElement) {
    if (each.id) found.push(each.id);
  }
  return found;
}

// The control that had the focus is gone: its line, or else the heading of the line at hand, gets
// it. Never a button: whoever presses Enter twice must not decide about a line not looked at.
function refocus(around, root) {
  const still = around.map((id) => document.getElementById(id)).filter((each) => root.contains(each));
  const place = still.find((each) => each.matches("li, .difference"));
  const target = place ?? document.getElementById("at-hand-title");
  if (!target) return;
  target.tabIndex = -1;
  target.focus({ preventScroll: true });
}

function children(old, fresh) {
  const kept = new Map([...old.children].filter((each) => each.id).map((each) => [each.id, each]));
  const wanted = new Set([...fresh.children].map((each) => each.id).filter(Boolean));
  let at = old.firstChild;
  const drop = () => {
    const next = at.nextSibling;
    at.remove();
    at = next;
  };
  for (const node of [...fresh.childNodes]) {
    const same = node.id ? kept.get(node.id) : null;
    // what stands before it and is not wanted any more goes, so that it need not be moved
    while (same && at && at !== same && !wanted.has(at.id)) drop();
    if (same && at !== same) old.insertBefore(same, at);
    else if (!same && at && !at.id && !node.id && at.nodeName === node.nodeName) {
      at = one(at, node);
      continue;
    } else if (!same) {
      old.insertBefore(node, at);
      continue;
    }
    at = one(same, node);
  }
  while (at) drop();
}

function one(old, fresh) {
  if (old.nodeType !== Node.ELEMENT_NODE) {
    if (old.nodeValue !== fresh.nodeValue) old.nodeValue = fresh.nodeValue;
  } else if (!old.isEqualNode(fresh)) {
    attributes(old, fresh);
    children(old, fresh);
  }
  return old.nextSibling;
}

function attributes(old, fresh) {
  for (const { name, value } of fresh.attributes) {
    if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  for (const { name } of [...old.attributes]) {
    const persons = name === "open" || name === "tabindex"; // what a person opened stays open
    if (!fresh.hasAttribute(name) && !persons) old.removeAttribute(name);
  }
}
