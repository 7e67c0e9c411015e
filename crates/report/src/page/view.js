"use strict";
// Bone, socket and screws in space, in plain WebGL. Parallel projection, so
// that the standard views are those of an atlas. Without WebGL the still
// pictures stay.
(function () {
  const root = document.querySelector(".turning");
  const source = document.getElementById("turning-data");
  if (!root || !source) return;
  const canvas = root.querySelector("canvas");
  const gl = canvas.getContext("webgl", { antialias: true, preserveDrawingBuffer: true });
  if (!gl) return;
  const scene = JSON.parse(source.textContent);
  const stage = root.querySelector(".stage"), tags = root.querySelector(".tags");
  const picked = root.querySelector(".picked");
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;

  // Meshes, all in mm from the socket's centre.
  function boneMesh() {
    const raw = new Uint16Array(bytes(scene.positions)), corners = new Uint16Array(bytes(scene.corners));
    const at = new Float32Array(raw.length);
    for (let i = 0; i < raw.length; i++) {
      at[i] = scene.low[i % 3] + raw[i] / 65535 * scene.extent[i % 3] - scene.centre[i % 3];
    }
    return parts(mesh(at, corners));
  }
  // The same vertices, first without the femur, then the femur alone.
  function parts(whole) {
    const first = scene.before_femur;
    return [
      Object.assign({}, whole, { first: 0, count: first }),
      Object.assign({}, whole, { first, count: whole.count - first }),
    ];
  }
  function mesh(at, corners) {
    const normal = new Float32Array(at.length);
    for (let t = 0; t < corners.length; t += 3) {
      const [a, b, c] = [corners[t] * 3, corners[t + 1] * 3, corners[t + 2] * 3];
      const u = [0, 1, 2].map((i) => at[b + i] - at[a + i]), v = [0, 1, 2].map((i) => at[c + i] - at[a + i]);
      const n = cross(u, v);
      for (const k of [a, b, c]) for (let i = 0; i < 3; i++) normal[k + i] += n[i];
    }
    const buffer = (kind, data) => {
      const b = gl.createBuffer();
      gl.bindBuffer(kind, b);
      gl.bufferData(kind, data, gl.STATIC_DRAW);
      return b;
    };
    return {
      at: buffer(gl.ARRAY_BUFFER, at), normal: buffer(gl.ARRAY_BUFFER, normal),
      corners: buffer(gl.ELEMENT_ARRAY_BUFFER, corners), first: 0, count: corners.length,
    };
  }
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const unit = (a) => { const l = Math.hypot(...a) || 1; return a.map((c) => c / l); };
  const along = (p, d, s) => [0, 1, 2].map((i) => p[i] + d[i] * s);
  // A rod of rings [distance, radius] about an axis, open ends closed by radius 0.
  function lathe(from, axis, rings) {
    const helper = Math.abs(axis[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0];
    const u = unit(cross(axis, helper)), v = cross(axis, u), sides = 20;
    const at = [], corners = [];
    rings.forEach(([s, r], ring) => {
      for (let k = 0; k < sides; k++) {
        const [cos, sin] = [Math.cos(k / sides * 2 * Math.PI), Math.sin(k / sides * 2 * Math.PI)];
        at.push(...[0, 1, 2].map((i) => from[i] + axis[i] * s + (u[i] * cos + v[i] * sin) * r));
        if (ring) {
          const a = (ring - 1) * sides, b = ring * sides, next = (k + 1) % sides;
          corners.push(a + k, a + next, b + next, a + k, b + next, b + k);
        }
      }
    });
    return mesh(new Float32Array(at), new Uint16Array(corners));
  }
  const [bone, femur] = boneMesh();
  const inward = scene.axis.map((c) => -c);
  const socket = lathe([0, 0, 0], inward, Array.from({ length: 10 }, (_, i) => {
    const a = i / 9 * Math.PI / 2;
    return [scene.radius * Math.sin(a), scene.radius * Math.cos(a)];
  }));
  const screws = scene.screws.map((s) => {
    const seat = s.seat.map((c, i) => c - scene.centre[i]), r = s.radius, l = s.length;
    return Object.assign({}, s, {
      seat, tip: along(seat, s.direction, l),
      rod: lathe(seat, s.direction, [[-2.6, 0], [-2.6, r + 0.8], [0, r], [Math.max(l - r, 0.1), r], [l, 0]]),
      way: lathe(seat, s.direction.map((c) => -c), [[2, 3], [s.corridor, 3]]),
    });
  });

  const sleeves = scene.sleeves.map((s) => {
    const foot = s.foot.map((c, i) => c - scene.centre[i]);
    return { name: "guide " + s.guide, end: along(foot, s.out, s.length), tube: lathe(foot, s.out, [[0, s.radius], [s.length, s.radius]]) };
  });

  // One program: light at the eye, both sides lit.
  function program() {
    const shader = (kind, text) => {
      const s = gl.createShader(kind);
      gl.shaderSource(s, text);
      gl.compileShader(s);
      return s;
    };
    const p = gl.createProgram();
    gl.attachShader(p, shader(gl.VERTEX_SHADER,
      "attribute vec3 at, normal; uniform mat3 turn; uniform vec2 scale; uniform float far; varying vec3 n; varying float depth;" +
      "void main() { vec3 p = turn * at; n = turn * normal; depth = -p.z / far; gl_Position = vec4(p.xy * scale, depth, 1.0); }"));
    gl.attachShader(p, shader(gl.FRAGMENT_SHADER,
      "precision mediump float; uniform vec4 colour; varying vec3 n; varying float depth;" +
      "void main() { vec3 m = normalize(n); m *= sign(m.z + 1e-4); float l = max(dot(m, vec3(-0.37, 0.46, 0.81)), 0.0);" +
      "float fog = clamp(1.0 - (depth + 0.05) * 0.9, 0.55, 1.0); gl_FragColor = vec4(colour.rgb * (0.2 + 0.8 * l * l) * fog, colour.a); }"));
    gl.linkProgram(p);
    return p;
  }
  const lit = program(), place = {};
  gl.useProgram(lit);
  for (const name of ["turn", "scale", "far", "colour"]) place[name] = gl.getUniformLocation(lit, name);
  const slots = { at: gl.getAttribLocation(lit, "at"), normal: gl.getAttribLocation(lit, "normal") };
  gl.enableVertexAttribArray(slots.at);
  gl.enableVertexAttribArray(slots.normal);

  const state = { rows: scene.views.lateral, zoom: 1, picked: null, bone: true, femur: false, corridors: false, guides: false };
  const COLOURS = { good: [0.1, 0.35, 0.52], fair: [0.42, 0.66, 0.82], poor: [0.72, 0.36, 0.05], none: [0.15, 0.15, 0.15], unknown: [0.5, 0.5, 0.5] };
  function draw(m, colour) {
    for (const name of ["at", "normal"]) {
      gl.bindBuffer(gl.ARRAY_BUFFER, m[name]);
      gl.vertexAttribPointer(slots[name], 3, gl.FLOAT, false, 0, 0);
    }
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, m.corners);
    gl.uniform4fv(place.colour, colour);
    gl.drawElements(gl.TRIANGLES, m.count, gl.UNSIGNED_SHORT, 2 * m.first);
  }
  const reach = Math.min(130, Math.max(70, 20 + Math.max(...screws.map((s) => Math.hypot(...s.tip)), 0)));
  const half = () => reach / state.zoom;
  function screenOf(p) {
    const s = Math.min(canvas.clientWidth, canvas.clientHeight) / 2 / half();
    return [canvas.clientWidth / 2 + dot(state.rows[0], p) * s, canvas.clientHeight / 2 - dot(state.rows[1], p) * s];
  }
  function paint() {
    const ratio = window.devicePixelRatio || 1;
    const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    gl.viewport(0, 0, w, h);
    gl.clearColor(0.992, 0.988, 0.972, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.LEQUAL);
    const least = Math.min(w, h), r = state.rows;
    gl.uniformMatrix3fv(place.turn, false, [0, 1, 2].flatMap((i) => [r[0][i], r[1][i], r[2][i]]));
    gl.uniform2f(place.scale, least / w / half(), least / h / half());
    gl.uniform1f(place.far, 400);
    gl.disable(gl.BLEND);
    for (const s of screws) {
      const own = s.hole === state.picked;
      if (s.length > 0) draw(s.rod, [...(own ? [0.95, 0.7, 0.1] : COLOURS[s.grade] || COLOURS.unknown), 1]);
    }
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    const veil = (m, colour) => {
      gl.colorMask(false, false, false, false);
      draw(m, colour);
      gl.colorMask(true, true, true, true);
      draw(m, colour);
    };
    const bones = [state.bone && bone, state.femur && femur].filter((m) => m && m.count);
    for (const m of bones) veil(m, [0.93, 0.85, 0.7, 0.72]);
    gl.depthMask(false);
    draw(socket, [0.3, 0.42, 0.52, 0.35]);
    if (state.corridors) {
      screws.forEach((s) => draw(s.way, s.clear ? [0.1, 0.35, 0.52, 0.35] : [0.72, 0.3, 0.05, 0.5]));
    }
    gl.depthMask(true);
    if (state.guides) sleeves.forEach((s) => veil(s.tube, [0.55, 0.36, 0.05, 0.6]));
    // A name moves down until it covers none before it.
    const taken = [];
    const put = (tag, at) => {
      let [x, y] = screenOf(at);
      const [wide, high] = [tag.offsetWidth, tag.offsetHeight];
      const covers = (b) => x < b[0] + b[2] && b[0] < x + wide && Math.abs(y - b[1]) < high;
      for (let i = 0; i < 40 && taken.some(covers); i++) y += high / 4;
      taken.push([x, y, wide]);
      tag.style.transform = "translate(" + x.toFixed(1) + "px," + y.toFixed(1) + "px)";
    };
    screws.forEach((s) => {
      put(s.tag, along(s.tip, s.direction, 3));
      s.tag.classList.toggle("own", s.hole === state.picked);
    });
    sleeves.forEach((s) => {
      s.tag.hidden = !state.guides;
      if (state.guides) put(s.tag, s.end);
    });
  }
  let asked = false;
  function repaint() {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; paint(); });
  }
  function turn(right, up) {
    const about = (a, b, angle) => {
      const [c, s] = [Math.cos(angle), Math.sin(angle)], [p, q] = [state.rows[a], state.rows[b]];
      const rows = state.rows.slice();
      rows[a] = p.map((v, i) => c * v - s * q[i]);
      rows[b] = p.map((v, i) => s * v + c * q[i]);
      state.rows = rows;
    };
    if (right) about(0, 2, -right);
    if (up) about(1, 2, up);
    repaint();
  }
  function zoom(factor) { state.zoom = Math.min(8, Math.max(0.4, state.zoom * factor)); repaint(); }
  function pick(x, y) {
    let best = null, least = 16;
    for (const s of screws) {
      const [a, b] = [screenOf(s.seat), screenOf(s.tip)], d = [b[0] - a[0], b[1] - a[1]];
      const t = Math.max(0, Math.min(1, ((x - a[0]) * d[0] + (y - a[1]) * d[1]) / (d[0] * d[0] + d[1] * d[1] || 1)));
      const off = Math.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1]);
      if (off < least) { least = off; best = s; }
    }
    if (best) window.pilothole.select(best.hole, "view");
  }

  for (const s of [...screws, ...sleeves]) {
    s.tag = document.createElement("span");
    s.tag.textContent = s.name;
    tags.append(s.tag);
  }
  const held = new Map();
  let moved = 0, spread = 0;
  canvas.addEventListener("pointerdown", (e) => {
    canvas.setPointerCapture(e.pointerId);
    held.set(e.pointerId, [e.offsetX, e.offsetY]);
    if (held.size === 1) moved = 0;
    spread = 0;
  });
  canvas.addEventListener("pointermove", (e) => {
    const before = held.get(e.pointerId);
    if (!before) return;
    const [dx, dy] = [e.offsetX - before[0], e.offsetY - before[1]];
    held.set(e.pointerId, [e.offsetX, e.offsetY]);
    moved += Math.abs(dx) + Math.abs(dy);
    if (held.size === 1) { turn(dx * 0.009, -dy * 0.009); return; }
    const [a, b] = Array.from(held.values()), wide = Math.hypot(a[0] - b[0], a[1] - b[1]);
    if (spread) zoom(wide / spread);
    spread = wide;
  });
  const release = (e) => {
    if (held.delete(e.pointerId) && moved < 5 && e.type === "pointerup") pick(e.offsetX, e.offsetY);
  };
  canvas.addEventListener("pointerup", release);
  canvas.addEventListener("pointercancel", release);
  canvas.addEventListener("wheel", (e) => { e.preventDefault(); zoom(Math.exp(-e.deltaY * 0.0015)); }, { passive: false });
  canvas.addEventListener("keydown", (e) => {
    const keys = {
      ArrowLeft: () => turn(-0.12, 0), ArrowRight: () => turn(0.12, 0), ArrowUp: () => turn(0, 0.12),
      ArrowDown: () => turn(0, -0.12), "+": () => zoom(1.15), "=": () => zoom(1.15), "-": () => zoom(1 / 1.15),
    };
    if (keys[e.key]) { e.preventDefault(); keys[e.key](); }
  });
  root.querySelectorAll("[data-view]").forEach((b) => b.addEventListener("click", () => {
    state.rows = scene.views[b.dataset.view];
    repaint();
  }));
  root.querySelectorAll("[data-toggle]").forEach((b) => b.addEventListener("click", () => {
    const on = (state[b.dataset.toggle] = !state[b.dataset.toggle]);
    b.setAttribute("aria-pressed", String(on));
    repaint();
  }));
  window.pilothole.onSelect((hole) => {
    const s = screws.find((one) => one.hole === hole);
    state.picked = hole;
    picked.textContent = s ? "Picked: " + s.name + ", purchase " + s.grade : "";
    repaint();
  });
  root.dataset.state = "turning";
  for (const part of root.querySelectorAll(".stage, .help, .controls")) part.hidden = false;
  new ResizeObserver(repaint).observe(stage);
  canvas.addEventListener("webglcontextlost", () => { root.dataset.state = "still"; });
  paint();
})();
