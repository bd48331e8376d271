// Builds elements and brings an existing part of the page up to date without replacing what is already right,
// so that focus stays, a finger that is down keeps its button, and a screen reader is not told everything anew.

const SVG = "http://www.w3.org/2000/svg";
const DRAWN = new Set(["svg", "use", "g", "path", "line", "rect", "circle", "text"]);

export function h(tag, attributes, ...children) {
  const made = DRAWN.has(tag) ? document.createElementNS(SVG, tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    made.setAttribute(name, value === true ? "" : String(value));
  }
  made.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false && child !== ""));
  return made;
}

export function sign(name, extra = "") {
  return h("svg", { class: `sign ${extra}`.trim(), "aria-hidden": "true" }, h("use", { href: `#sign-${name}` }));
}

export function show(root, ...fresh) {
  matchChildren(root, fresh.flat(3).filter((one) => one !== null && one !== undefined && one !== false && one !== ""));
}

function matchChildren(root, fresh) {
  const keyed = new Map();
  for (const child of root.children) if (child.dataset?.key) keyed.set(child.dataset.key, child);
  let place = root.firstChild;
  for (const wanted of fresh) {
    const node = typeof wanted === "string" || typeof wanted === "number" ? document.createTextNode(String(wanted)) : wanted;
    const key = node.dataset?.key;
    let old = key ? keyed.get(key) : place;
    if (!key && old?.dataset?.key) old = null;
    if (old && alike(old, node)) {
      if (old === place) place = place.nextSibling;
      else root.insertBefore(old, place);
      match(old, node);
    } else {
      root.insertBefore(node, place);
      if (old && old === place && !key) {
        place = place.nextSibling;
        old.remove();
      }
    }
  }
  while (place) {
    const next = place.nextSibling;
    place.remove();
    place = next;
  }
}

function alike(old, fresh) {
  return old.nodeType === fresh.nodeType && old.nodeName === fresh.nodeName && old.dataset?.key === fresh.dataset?.key;
}

function match(old, fresh) {
  if (old.nodeType === Node.TEXT_NODE) {
    if (old.data !== fresh.data) old.data = fresh.data;
    return;
  }
  for (const { name } of [...old.attributes]) if (!fresh.hasAttribute(name)) old.removeAttribute(name);
  for (const { name, value } of fresh.attributes) if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  matchChildren(old, [...fresh.childNodes]);
}
