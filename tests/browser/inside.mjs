// Functions that run inside the page.

/** Texts that run over each other, out of the window, or out of their figure. */
export function crowding() {
  const found = [];
  const shown = (e) => !e.closest("[hidden], .defs, .printed, .tags, .skip") && e.checkVisibility({ checkOpacity: true, checkVisibilityCSS: true });
  const short = (text) => text.trim().replace(/\s+/g, " ").slice(0, 40);
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > wide + 1) {
    found.push(`the page is ${document.documentElement.scrollWidth} px wide in a window of ${wide}`);
  }
  const boxes = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const parent = node.parentElement;
    if (!node.data.trim() || !parent || parent.closest("svg, script, style, title, canvas") || !shown(parent)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of range.getClientRects()) {
      if (r.width < 1 || r.height < 1) continue;
      const scroll = parent.closest(".scroll");
      if (!scroll && (r.right > wide + 1 || r.left < -1) && r.right > 0) found.push(`cut: "${short(node.data)}"`);
      boxes.push([r.left, r.top + r.height * 0.2, r.right, r.bottom - r.height * 0.2, node.data, scroll]);
    }
  }
  boxes.sort((a, b) => a[1] - b[1]);
  const meet = (a, b) => Math.min(a[2], b[2]) - Math.max(a[0], b[0]) > 2 && Math.min(a[3], b[3]) - Math.max(a[1], b[1]) > 2;
  for (let i = 0; i < boxes.length; i++) {
    for (let j = i + 1; j < boxes.length && boxes[j][1] < boxes[i][3]; j++) {
      if (boxes[i][5] === boxes[j][5] && meet(boxes[i], boxes[j])) {
        found.push(`overlap: "${short(boxes[i][4])}" and "${short(boxes[j][4])}"`);
      }
    }
  }
  for (const svg of document.querySelectorAll("figure svg[role=img]")) {
    if (!shown(svg)) continue;
    const frame = svg.getBoundingClientRect();
    const texts = Array.from(svg.querySelectorAll("text")).map((t) => [t.getBoundingClientRect(), t]);
    texts.forEach(([r, t], i) => {
      if (r.left < frame.left - 1 || r.right > frame.right + 1 || r.top < frame.top - 1 || r.bottom > frame.bottom + 1) {
        found.push(`${svg.classList}: cut "${short(t.textContent)}"`);
      }
      for (const [q, u] of texts.slice(i + 1)) {
        const inset = (b) => [b.left, b.top + b.height * 0.25, b.right, b.bottom - b.height * 0.25];
        if (meet(inset(r), inset(q))) found.push(`${svg.classList}: "${short(t.textContent)}" over "${short(u.textContent)}"`);
      }
    });
  }
  return Array.from(new Set(found)).slice(0, 20);
}

/** Share of the canvas that is not background, and a sum that tells pictures apart. */
export function canvasLook() {
  const canvas = document.querySelector(".turning canvas");
  const gl = canvas && canvas.getContext("webgl");
  if (!gl) return null;
  const pixels = new Uint8Array(canvas.width * canvas.height * 4);
  gl.readPixels(0, 0, canvas.width, canvas.height, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
  const ground = pixels.slice(0, 3);
  let drawn = 0, sum = 0;
  for (let i = 0; i < pixels.length; i += 4) {
    const off = Math.abs(pixels[i] - ground[0]) + Math.abs(pixels[i + 1] - ground[1]) + Math.abs(pixels[i + 2] - ground[2]);
    if (off > 12) { drawn++; sum = (sum * 31 + off + i) % 1000000007; }
  }
  return { share: drawn / (pixels.length / 4), sum, error: gl.getError() };
}
