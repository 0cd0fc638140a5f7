// The bed in three dimensions: a net of the depth raster, drawn by the graphics card.

const VERTEX = `
attribute vec3 place;
attribute vec3 colour;
attribute float light;
uniform mat4 see;
uniform float lift;
uniform float flat_at;
uniform float flat_share;
varying vec3 shown;
varying float above;
void main() {
  above = flat_share * (place.z - flat_at);
  gl_Position = see * vec4(place.xy, mix(place.z, flat_at, flat_share) * lift, 1.0);
  shown = mix(colour * light, vec3(0.42, 0.7, 0.85), flat_share);
}`;
const FRAGMENT = `
precision mediump float;
varying vec3 shown;
varying float above;
uniform float alpha;
void main() {
  if (above > 0.0) discard; // no water where the bed is dry
  gl_FragColor = vec4(shown, alpha);
}`;

function makeBed(grids, map) {
  const canvas = byId("bed");
  const gl = canvas.getContext("webgl", { alpha: false, antialias: true, preserveDrawingBuffer: true });
  if (!gl) {
    byId("bed-none").hidden = false;
    byId("bed-view").hidden = true;
    return;
  }
  const depth = grids.depth;
  const MOST = 240; // places along the longer side
  const step = Math.max(1, Math.ceil(Math.max(depth.rows, depth.cols) / MOST));
  const rows = Math.floor((depth.rows - 1) / step) + 1;
  const cols = Math.floor((depth.cols - 1) / step) + 1;
  const half = (Math.max(depth.rows, depth.cols) * depth.cell) / 2;
  const middle = [(depth.cols * depth.cell) / 2, (depth.rows * depth.cell) / 2];
  const eye = { turn: -25, tilt: 38, near: 1 };
  const program = compiled();
  let stale = true; // whether colours await the next frame
  const net = woven();

  function compiled() {
    const made = gl.createProgram();
    [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]].forEach(([kind, text]) => {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(made, shader);
    });
    gl.linkProgram(made);
    gl.useProgram(made);
    return made;
  }

  function buffer(values, target = gl.ARRAY_BUFFER) {
    const made = gl.createBuffer();
    gl.bindBuffer(target, made);
    gl.bufferData(target, values, gl.STATIC_DRAW);
    return made;
  }

  function woven() {
    const places = new Float32Array(3 * rows * cols);
    const colours = new Float32Array(3 * rows * cols);
    const values = new Float32Array(rows * cols);
    const inside = new Uint8Array(rows * cols);
    for (let row = 0; row < rows; row++) {
      for (let col = 0; col < cols; col++) {
        const i = row * cols + col;
        const at = row * step * depth.cols + col * step;
        const value = Number.isNaN(depth.values[at]) && !Number.isNaN(map.rim[at]) ? Math.min(map.rim[at], 0) : map.rim[at];
        inside[i] = !Number.isNaN(depth.values[at]);
        values[i] = value;
        places[3 * i] = ((col * step + 0.5) * depth.cell - middle[0]) / half;
        places[3 * i + 1] = (middle[1] - (row * step + 0.5) * depth.cell) / half;
        places[3 * i + 2] = Number.isNaN(value) ? 0 : -value / half;
      }
    }
    const corners = [];
    for (let row = 0; row + 1 < rows; row++) {
      for (let col = 0; col + 1 < cols; col++) {
        const [a, b, c, d] = [row * cols + col, row * cols + col + 1, (row + 1) * cols + col + 1, (row + 1) * cols + col];
        [[a, d, b], [b, d, c]].forEach((three) => {
          if (three.every((i) => !Number.isNaN(values[i])) && three.some((i) => inside[i])) corners.push(...three);
        });
      }
    }
    return {
      places: buffer(places),
      light: buffer(lit(values)),
      index: buffer(new Uint16Array(corners), gl.ELEMENT_ARRAY_BUFFER),
      count: corners.length,
      colours,
      values,
      colour: gl.createBuffer(),
    };
  }

  // Light from the north-west, with the relief raised so that gentle beds show their form.
  function lit(values) {
    const light = new Float32Array(values.length).fill(1);
    const across = step * depth.cell;
    const raise = 0.5 * usualLift();
    for (let row = 1; row + 1 < rows; row++) {
      for (let col = 1; col + 1 < cols; col++) {
        const i = row * cols + col;
        const east = (raise * (values[i + 1] - values[i - 1])) / (2 * across);
        const south = (raise * (values[i + cols] - values[i - cols])) / (2 * across);
        const cosine = (0.8 + (-east - south) * 0.42) / Math.hypot(1, east, south);
        if (!Number.isNaN(cosine)) light[i] = 0.45 + 0.72 * Math.max(cosine, 0);
      }
    }
    return light;
  }

  // The lift that makes the depth a fifth of the water's half width, a round number.
  function usualLift() {
    return Math.max(1, Math.min(30, Math.round((0.22 * half) / Math.max(depth.most, 0.01))));
  }

  function paint() {
    const level = choice.level === null ? -Infinity : choice.level;
    const table = Array.from({ length: 256 }, (_, i) => rampColour("depth", i / 255));
    for (let i = 0; i < net.values.length; i++) {
      const value = net.values[i];
      if (Number.isNaN(value)) continue;
      const share = Math.min(Math.max(map.shares.depth(value), 0), 1);
      const colour = value < level - 1e-9 && level > depth.least ? SAND : table[Math.round(255 * share)];
      for (let k = 0; k < 3; k++) net.colours[3 * i + k] = colour[k] / 255;
    }
    gl.bindBuffer(gl.ARRAY_BUFFER, net.colour);
    gl.bufferData(gl.ARRAY_BUFFER, net.colours, gl.DYNAMIC_DRAW);
  }

  const times = (a, b) =>
    a.map((_, i) => [0, 1, 2, 3].reduce((sum, k) => sum + a[4 * k + (i % 4)] * b[4 * Math.floor(i / 4) + k], 0));

  // Columns one after the other, as the graphics card takes them.
  function seen(size) {
    const [turn, tilt] = [(eye.turn * Math.PI) / 180, (eye.tilt * Math.PI) / 180];
    const [ct, st, cx, sx] = [Math.cos(turn), Math.sin(turn), Math.cos(tilt - Math.PI / 2), Math.sin(tilt - Math.PI / 2)];
    const about = [ct, st, 0, 0, -st, ct, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1];
    const over = [1, 0, 0, 0, 0, cx, sx, 0, 0, -sx, cx, 0, 0, 0, 0, 1];
    const away = 3.4 / eye.near;
    const back = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, -away, 1];
    const aspect = size.wide / size.high;
    const across = Math.hypot(middle[0], middle[1]) / half;
    const wideAngle = 3.4 * Math.min(aspect / (1.04 * across), 1 / (0.56 * across));
    const [near, far] = [0.05, 20];
    const lens = [wideAngle / aspect, 0, 0, 0, 0, wideAngle, 0, 0, 0, 0, (far + near) / (near - far), -1, 0, 0, (2 * far * near) / (near - far), 0];
    return times(lens, times(back, times(over, about)));
  }

  function give(name, values, parts) {
    const at = gl.getAttribLocation(program, name);
    gl.bindBuffer(gl.ARRAY_BUFFER, values);
    gl.enableVertexAttribArray(at);
    gl.vertexAttribPointer(at, parts, gl.FLOAT, false, 0, 0);
  }

  function drawNow() {
    if (stale) paint();
    stale = false;
    const size = fitted(canvas);
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0.945, 0.933, 0.902, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    const lift = Number(byId("lift").value);
    const see = seen(size);
    gl.uniformMatrix4fv(gl.getUniformLocation(program, "see"), false, new Float32Array(see));
    set("lift", lift);
    set("alpha", 1);
    set("flat_share", 0);
    give("place", net.places, 3);
    give("colour", net.colour, 3);
    give("light", net.light, 1);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, net.index);
    gl.drawElements(gl.TRIANGLES, net.count, gl.UNSIGNED_SHORT, 0);
    if (byId("surface").checked) drawSurface();
    canvas.dataset.turn = eye.turn;
    canvas.dataset.tilt = eye.tilt;
    canvas.dataset.triangles = net.count / 3;
  }

  const set = (name, value) => gl.uniform1f(gl.getUniformLocation(program, name), value);

  // The same net laid flat at the water level; what lies higher hides it.
  function drawSurface() {
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    set("alpha", 0.5);
    set("flat_share", 1);
    set("flat_at", -(choice.level || 0) / half);
    gl.drawElements(gl.TRIANGLES, net.count, gl.UNSIGNED_SHORT, 0);
    gl.disable(gl.BLEND);
  }
  const draw = onceAFrame(canvas, drawNow);

  function turn(by, over) {
    eye.turn = (eye.turn + by + 540) % 360 - 180;
    eye.tilt = Math.min(Math.max(eye.tilt + over, 8), 90);
    draw();
  }

  function nearer(by) {
    eye.near = Math.min(Math.max(eye.near * by, 0.5), 6);
    draw();
  }

  function listen() {
    const fingers = new Map();
    let gap = 0;
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      gap = 0;
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const now = [event.clientX, event.clientY];
      if (fingers.size === 1) turn((now[0] - before[0]) * 0.5, (now[1] - before[1]) * 0.4);
      fingers.set(event.pointerId, now);
      if (fingers.size === 2) {
        const [a, b] = [...fingers.values()];
        const apart = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (gap) nearer(apart / gap);
        gap = apart;
      }
    });
    ["pointerup", "pointercancel"].forEach((name) => canvas.addEventListener(name, (event) => fingers.delete(event.pointerId)));
    canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== canvas) return;
      event.preventDefault();
      nearer(Math.exp(-event.deltaY / 400));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      const turns = { ArrowLeft: [-6, 0], ArrowRight: [6, 0], ArrowUp: [0, 5], ArrowDown: [0, -5] };
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      if (turns[event.key]) turn(...turns[event.key]);
      else if (event.key === "+" || event.key === "=") nearer(1.2);
      else if (event.key === "-") nearer(1 / 1.2);
      else return;
      event.preventDefault();
    });
    byId("turn-left").addEventListener("click", () => turn(-15, 0));
    byId("turn-right").addEventListener("click", () => turn(15, 0));
    byId("tilt-up").addEventListener("click", () => turn(0, 10));
    byId("tilt-down").addEventListener("click", () => turn(0, -10));
    byId("nearer").addEventListener("click", () => nearer(1.25));
    byId("farther").addEventListener("click", () => nearer(1 / 1.25));
    byId("surface").addEventListener("change", draw);
    byId("lift").addEventListener("input", () => {
      byId("lift-told").textContent = `${byId("lift").value} times`;
      draw();
    });
    new ResizeObserver(draw).observe(canvas);
  }

  byId("lift").value = String(usualLift());
  byId("lift-told").textContent = `${byId("lift").value} times`;
  listen();
  watch((what) => {
    if (what === "level" || what === "all") {
      stale = true;
      draw();
    }
  });
}
