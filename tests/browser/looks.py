"""What a page looks like to people: contrast, room, names of controls; by what the browser computed."""

from typing import Any

OVERFLOWING = """() => {
  const wide = document.documentElement.clientWidth + 1;
  const found = [];
  for (const element of document.querySelectorAll('body *')) {
    if (element.closest('svg') && element.tagName.toLowerCase() !== 'svg') continue;
    const box = element.getBoundingClientRect();
    if (box.width > 1 && (box.right > wide || box.left < -1)) found.push(element.tagName + ' ' + box.right);
  }
  if (document.documentElement.scrollWidth > wide) found.push('page ' + document.documentElement.scrollWidth);
  return found;
}"""

CONTRASTS = """() => {
  const parts = colour => colour.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => {
    const line = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * line(r) + 0.7152 * line(g) + 0.0722 * line(b);
  };
  const behind = element => {
    for (let each = element; each; each = each.parentElement) {
      const colour = parts(getComputedStyle(each).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const low = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || element.closest('svg') || element.closest('style')) continue;
    const style = getComputedStyle(element);
    if (style.fontSize === '0px' || style.visibility === 'hidden' || !element.getClientRects().length) continue;
    const [a, b] = [light(parts(style.color)), light(behind(element))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) low.push(ratio.toFixed(2) + ' ' + walker.currentNode.data.trim().slice(0, 40));
  }
  return low;
}"""

SMALL_TARGETS = """() => [...document.querySelectorAll('button, select, input:not([type=hidden]):not([type=checkbox])')]
  .map(each => each.getBoundingClientRect()).filter(box => box.height && (box.height < 44 || box.width < 44)).length"""

NAMELESS = """() => [...document.querySelectorAll('input:not([type=hidden]), select, button')]
  .filter(each => !(each.labels && each.labels.length) && !each.textContent.trim()).map(each => each.outerHTML)"""


def overflowing(page: Any) -> list[str]:
    """What sticks out of the page at the side."""
    found: list[str] = page.evaluate(OVERFLOWING)
    return found


def low_contrasts(page: Any) -> list[str]:
    """Texts whose contrast with what is behind them is below 4.5:1 (WCAG 2.2, 1.4.3), by its formula."""
    found: list[str] = page.evaluate(CONTRASTS)
    return found


def small_targets(page: Any) -> int:
    """How many controls are smaller than 44 by 44 pixels (WCAG 2.2, 2.5.5)."""
    found: int = page.evaluate(SMALL_TARGETS)
    return found


def nameless_controls(page: Any) -> list[str]:
    """Controls without an accessible name."""
    found: list[str] = page.evaluate(NAMELESS)
    return found


def heading_levels(page: Any) -> list[int]:
    """The levels of the headings, in order."""
    found: list[int] = page.evaluate(
        "() => [...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(h => +h.tagName[1])"
    )
    return found


def shown_text(page: Any) -> str:
    """The text as it is shown, on one line."""
    return " ".join(page.inner_text("body").replace("\u00a0", " ").split())
