"""Things measured inside the page: overflow, control sizes, names, contrast."""

from __future__ import annotations

OVERFLOW = "() => [document.documentElement.scrollWidth, window.innerWidth]"

SMALL_CONTROLS = """() => [...document.querySelectorAll('button, a.button, nav a, select, input:not([type=radio]), textarea, h3 a, a.row, tbody a')]
  .filter((one) => one.offsetParent !== null)
  .map((one) => [one.textContent.trim().slice(0, 40) || one.id, one.getBoundingClientRect().height, one.getBoundingClientRect().width])
  .filter(([, height, width]) => height < 55.9 || width < 55.9)"""

NAMELESS = """() => [...document.querySelectorAll('button, a, select, input, textarea, [role=region], [role=group]')]
  .filter((one) => one.offsetParent !== null)
  .filter((one) => !(one.textContent.trim() || one.getAttribute('aria-label') || (one.labels && one.labels.length)))
  .map((one) => one.outerHTML.slice(0, 120))"""

# WCAG 2.2, 1.4.3: relative luminance and contrast ratio, https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio
CONTRAST = """() => {
  const parse = (text) => { const n = text.match(/[\\d.]+/g).map(Number); return n.length > 3 ? n : [...n, 1]; };
  const part = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const light = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  const ground = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const color = parse(getComputedStyle(at).backgroundColor);
      if (color[3] === 1) return color;
      if (color[3] > 0) return null;
    }
    return [255, 255, 255, 1];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode.textContent.trim();
    const one = walker.currentNode.parentElement;
    if (!text || one.offsetParent === null || one.closest('.unseen, script, .skip, button:disabled')) continue;
    const style = getComputedStyle(one);
    const under = ground(one);
    if (!under) continue;
    const [a, b] = [light(parse(style.color)), light(under)];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) found.push([text.slice(0, 40), ratio.toFixed(2), style.color, under.join(',')]);
  }
  return found;
}"""

# WCAG 2.2, 1.4.11: what shows a control must have 3:1 against what lies beside it.
EDGES = """() => {
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const part = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const light = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)]; return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); };
  const root = getComputedStyle(document.documentElement);
  const probe = document.createElement('i'); document.body.append(probe);
  const color = (name) => { probe.style.color = root.getPropertyValue(name); return parse(getComputedStyle(probe).color); };
  const pairs = [['--edge', '--panel'], ['--edge', '--ground'], ['--focus', '--panel'], ['--focus', '--ground'], ['--accent', '--panel'], ['--series-1', '--panel'], ['--series-2', '--panel'], ['--series-3', '--panel'], ['--series-4', '--panel']];
  const low = pairs.map(([a, b]) => [a, b, ratio(color(a), color(b))]).filter(([, , r]) => r < 3);
  probe.remove();
  return low;
}"""
