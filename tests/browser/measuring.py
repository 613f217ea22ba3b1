"""What is cut and what lies over another, measured in the page: every scroller, every pair of words."""

from __future__ import annotations

#: Width and height of four screens: phone, tablet upright, small laptop, desk.
SCREENS = {"phone": (390, 844), "upright": (768, 1024), "laptop": (1024, 768), "desk": (1440, 900)}
#: Printable width of A4 at the page's margins, in CSS pixels (96 to the inch).
PAPER_PX = int((210 - 20) / 25.4 * 96)

MEASURE = """({ paper, phone }) => {
  const out = [];
  const name = e => `${e.id || e.getAttribute('class') || e.tagName}: ${(e.textContent || '').trim().slice(0, 40)}`;
  const shown = e => {
    const b = e.getBoundingClientRect();
    const unseen = getComputedStyle(e).visibility === 'hidden' || e.closest('.unseen, [popover], .skip');
    return b.width > 0.5 && b.height > 0.5 && !unseen;
  };
  const wide = document.documentElement.clientWidth, whole = document.documentElement.scrollWidth;
  if (whole > wide + 1) out.push(`the page is wider than its window: ${whole}`);
  // Scrollers: only a phone may have one, and only of a table that says so and can be reached by the keyboard.
  for (const e of document.querySelectorAll('body *')) {
    if (!shown(e) || e.closest('svg')) continue;
    const style = getComputedStyle(e);
    const cuts = e.scrollWidth > e.clientWidth + 2 && e.clientWidth && style.overflowX !== 'visible';
    const told = phone && e.matches('.scroll[tabindex="0"][role="region"][aria-label]');
    if (cuts && style.display !== 'inline' && !told) out.push(`cut: ${name(e)} ${e.scrollWidth} of ${e.clientWidth}`);
    if (paper && e.getBoundingClientRect().right > wide + 1.5) out.push(`beyond the paper: ${name(e)}`);
  }
  const over = (a, b, by) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > by
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > by;
  // Words of each drawing against each other and against its frame.
  for (const drawing of document.querySelectorAll('svg')) {
    if (!shown(drawing) || drawing.parentElement.closest('svg')) continue;
    const frame = drawing.getBoundingClientRect(), open = getComputedStyle(drawing).overflow === 'visible';
    const words = [...drawing.querySelectorAll('text')].filter(shown).map(e => {
      const b = e.getBoundingClientRect(), air = 0.22 * b.height;  // letters: a line's box is taller by that
      return { words: e.textContent, left: b.left, right: b.right, top: b.top + air, bottom: b.bottom - air };
    });
    words.forEach((a, k) => {
      const out_of = a.left < frame.left - 1.5 || a.right > frame.right + 1.5
        || a.top < frame.top - 1.5 || a.bottom > frame.bottom + 1.5;
      if (out_of && !open) out.push(`out of its drawing: ${a.words}`);
      for (const b of words.slice(k + 1)) if (over(a, b, 1)) out.push(`${a.words} over ${b.words}`);
    });
  }
  // Blocks of words against each other: none over one that does not hold it.
  const blocks = [...document.querySelectorAll('p, li, td, th, dt, dd, h1, h2, h3, figcaption, button, legend')]
    .filter(e => shown(e) && e.textContent.trim() && getComputedStyle(e).display !== 'inline')
    .filter(e => !e.closest('svg, .desk, .methods') && getComputedStyle(e).position !== 'sticky')
    .map(e => ({ e, box: e.getBoundingClientRect() })).sort((a, b) => a.box.top - b.box.top);
  blocks.forEach((a, k) => {
    for (let j = k + 1; j < blocks.length && blocks[j].box.top < a.box.bottom - 3; j += 1) {
      const b = blocks[j];
      const inside = a.e.contains(b.e) || b.e.contains(a.e);
      const scrolled = a.e.closest('.scroll') !== b.e.closest('.scroll') && phone;
      if (!inside && !scrolled && over(a.box, b.box, 3)) out.push(`${name(a.e)} OVER ${name(b.e)}`);
    }
  });
  return [...new Set(out)];
}"""
