"""Contrast as WCAG 2.2 defines it: relative luminance, 1.4.3 (text, AA: 4.5 : 1) and 1.4.11 (what isn't text, AA: 3 : 1)."""

from __future__ import annotations

import re
from typing import Any

#: Each visible text, its colour and the ground behind it; each border of a key or panel, and each drawn line of a picture.
LOOK = r"""() => {
  const ground = (e) => {
    for (let n = e; n; n = n.parentElement) {
      const c = getComputedStyle(n).backgroundColor;
      if (!/^rgba.*, 0\)$/.test(c)) return c;
    }
    return "rgb(255, 255, 255)";
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement, text = walk.currentNode.textContent.trim();
    const box = e.getBoundingClientRect();
    if (!text || !box.width || e.closest("noscript,option,title,script") || getComputedStyle(e).visibility === "hidden") continue;
    const s = getComputedStyle(e);
    const hollow = parseFloat(s.webkitTextStrokeWidth) > 0;
    const colour = e.namespaceURI.endsWith("svg") ? s.fill : hollow ? s.webkitTextStrokeColor : s.color;
    found.push({ what: text, least: 4.5, colour, ground: ground(e) });
  }
  for (const e of document.querySelectorAll(".key, .question, .slab.chosen, .tray li, input")) {
    if (!e.getBoundingClientRect().width || e.disabled) continue;
    const s = getComputedStyle(e);
    // What tells a key from its surroundings: its border or its ground, whichever stands out more.
    const around = ground(e.parentElement);
    found.push({ what: "edge of " + (e.dataset.key ?? e.className), least: 3, colour: s.borderTopColor, or: s.backgroundColor, ground: around });
  }
  for (const e of document.querySelectorAll(".shape path")) {
    if (e.getBoundingClientRect().width) found.push({ what: "shape", least: 3, colour: getComputedStyle(e).stroke, ground: ground(e.closest("svg").parentElement) });
  }
  for (const e of document.querySelectorAll(".cloud .axis, .cloud .point, .cloud .this, .cloud .band, .cloud .expected, .histogram .bar")) {
    found.push({ what: "drawn " + e.getAttribute("class"), least: 3, colour: getComputedStyle(e).stroke, ground: ground(e.closest("svg")) });
  }
  return found;
}"""


def luminance(colour: str) -> float:
    """Relative luminance of an `rgb(…)`."""
    red, green, blue = (int(n) / 255 for n in re.findall(r"\d+", colour)[:3])

    def linear(c: float) -> float:
        return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4

    return 0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)


def ratio(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def too_faint(page: Any) -> list[str]:
    """What has less contrast than it must have."""
    return [
        f"{f['what']}: {f['colour']} on {f['ground']} is {best:.2f}, not {f['least']}"
        for f in page.evaluate(LOOK)
        if (best := max(ratio(f["colour"], f["ground"]), ratio(f.get("or", f["colour"]), f["ground"]))) < f["least"]
    ]
