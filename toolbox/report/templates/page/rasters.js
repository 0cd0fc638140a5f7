// Rasters as pictures, and the water's edge at a level.

function picture(wide, high, paintCells) {
  const canvas = document.createElement("canvas");
  canvas.width = wide;
  canvas.height = high;
  const context = canvas.getContext("2d");
  const image = context.createImageData(wide, high);
  paintCells(image.data);
  context.putImageData(image, 0, 0);
  return canvas;
}

// Values with a rim of two cells beyond the shore, so that colours reach the drawn line.
function bled(grid) {
  let values = Float32Array.from(grid.values);
  for (let round = 0; round < 2; round++) {
    const next = Float32Array.from(values);
    for (let row = 0; row < grid.rows; row++) {
      for (let col = 0; col < grid.cols; col++) {
        const at = row * grid.cols + col;
        if (!Number.isNaN(values[at])) continue;
        let sum = 0;
        let count = 0;
        for (let dr = -1; dr <= 1; dr++) {
          for (let dc = -1; dc <= 1; dc++) {
            const r = row + dr;
            const c = col + dc;
            if (r < 0 || c < 0 || r >= grid.rows || c >= grid.cols) continue;
            const value = values[r * grid.cols + c];
            if (Number.isNaN(value)) continue;
            sum += value;
            count++;
          }
        }
        if (count) next[at] = sum / count;
      }
    }
    values = next;
  }
  return values;
}

// Light from the north-west, stronger where the bed is level on the whole.
function relief(values, grid) {
  const cols = grid.cols;
  const light = new Float32Array(values.length).fill(1);
  const steep = [];
  for (let i = cols + 1; i < values.length - cols - 1; i += 7) {
    const rise = Math.hypot(values[i + 1] - values[i - 1], values[i + cols] - values[i - cols]);
    if (!Number.isNaN(rise)) steep.push(rise);
  }
  steep.sort((a, b) => a - b);
  const usual = steep[Math.floor(0.9 * steep.length)] || 1;
  for (let i = cols + 1; i < values.length - cols - 1; i++) {
    const slope = values[i + 1] - values[i - 1] + (values[i + cols] - values[i - cols]);
    if (!Number.isNaN(slope)) light[i] = 1 + Math.min(Math.max((-0.16 * slope) / usual, -0.2), 0.16);
  }
  return light;
}

// Marching squares between cell centres.
function waterEdge(depth, values, level) {
  const path = new Path2D();
  const { rows, cols, cell, left, top } = depth;
  const cut = (a, b) => (level - a) / (b - a);
  for (let row = 0; row + 1 < rows; row++) {
    for (let col = 0; col + 1 < cols; col++) {
      const at = row * cols + col;
      const a = values[at];
      const b = values[at + 1];
      const c = values[at + cols + 1];
      const d = values[at + cols];
      const code = (a >= level) | ((b >= level) << 1) | ((c >= level) << 2) | ((d >= level) << 3);
      if (code === 0 || code === 15 || Number.isNaN(a + b + c + d)) continue;
      const sides = [];
      if ((a >= level) !== (b >= level)) sides.push([cut(a, b), 0]);
      if ((b >= level) !== (c >= level)) sides.push([1, cut(b, c)]);
      if ((c >= level) !== (d >= level)) sides.push([cut(d, c), 1]);
      if ((d >= level) !== (a >= level)) sides.push([0, cut(a, d)]);
      for (let k = 0; k + 1 < sides.length; k += 2) {
        const place = ([x, y]) => [left + (col + 0.5 + x) * cell, top + (row + 0.5 + y) * cell];
        path.moveTo(...place(sides[k]));
        path.lineTo(...place(sides[k + 1]));
      }
    }
  }
  return path;
}

// Where on its ramp a value lies, 0 to 1; of sd and slope the highest values share a colour.
function shareOf(grids, name) {
  const grid = grids[name];
  if (name === "depth") {
    const least = Math.min(0, grid.least);
    return (value) => (value - least) / (grid.most - least || 1);
  }
  const sorted = Float32Array.from(grid.values.filter((value) => !Number.isNaN(value))).sort();
  const most = sorted[Math.floor(0.98 * (sorted.length - 1))] || 1;
  grid.shown = most;
  return (value) => value / most;
}

function makePictures(grids) {
  const depth = grids.depth;
  const rims = Object.fromEntries(Object.entries(grids).map(([name, grid]) => [name, bled(grid)]));
  const shares = {};
  ["depth", "sd", "slope"].forEach((name) => {
    if (grids[name]) shares[name] = shareOf(grids, name);
  });
  const shown = { shading: null, dry: null, edge: null, veil: null };

  function paintShading() {
    const name = choice.shade;
    const grid = grids[name];
    const values = rims[name];
    const table = [];
    for (let i = 0; i < 512; i++) table.push(rampColour(name, i / 511));
    const light = name === "depth" && choice.on.relief ? relief(rims.depth, depth) : null;
    shown.shading = picture(grid.cols, grid.rows, (pixels) => {
      for (let i = 0; i < values.length; i++) {
        if (Number.isNaN(values[i])) continue;
        const share = Math.min(Math.max(shares[name](values[i]), 0), 1);
        const colour = table[Math.round(511 * share)];
        const lit = light ? light[i] : 1;
        for (let k = 0; k < 3; k++) pixels[4 * i + k] = colour[k] * lit;
        pixels[4 * i + 3] = 255;
      }
    });
  }

  function paintDry() {
    const level = choice.level;
    shown.edge = null;
    shown.dry = null;
    if (level === null || level <= Math.min(0, depth.least)) return;
    const values = rims.depth;
    shown.dry = picture(depth.cols, depth.rows, (pixels) => {
      for (let i = 0; i < values.length; i++) {
        if (!(values[i] < level)) continue;
        for (let k = 0; k < 3; k++) pixels[4 * i + k] = SAND[k];
        pixels[4 * i + 3] = 235;
      }
    });
    shown.edge = waterEdge(depth, values, level);
  }

  function paintVeil() {
    const grid = grids.unsurveyed;
    if (!grid) return;
    shown.veil = picture(grid.cols, grid.rows, (pixels) => {
      for (let i = 0; i < grid.values.length; i++) if (rims.unsurveyed[i] > 0) pixels[4 * i + 3] = 255;
    });
  }

  return { grids, rims, shares, shown, paint: { shade: paintShading, level: paintDry, veil: paintVeil } };
}
