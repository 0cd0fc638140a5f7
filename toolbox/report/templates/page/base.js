// What all parts of the page share: the data, the reader's choices, units, and small helpers.

const byId = (id) => document.getElementById(id);
const data = JSON.parse(byId("data").textContent);
const INK = "#16242e";
const PAPER = "#ffffff";
const FAULT = "#b3261e";
const SAND = [222, 203, 160];
const NORMAL_90 = 1.6449; // a normal value lies within so many sd of its mean 9 times in 10

const choice = {
  units: document.body.dataset.units,
  level: null, // depth of the movable water level below the datum, m
  shade: "depth",
  sun: false,
  on: {}, // layers
  section: null, // [[east, south], [east, south]] in metres of the page
  picking: false, // whether taps on the map set the ends of a section
};
const watchers = [];
const watch = (draw) => watchers.push(draw);
const changed = (what) => watchers.forEach((draw) => draw(what));

async function inflate(text) {
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i++) bytes[i] = letters.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

async function unpack(pack) {
  const { n, row } = pack;
  const planes = await inflate(pack.z);
  const out = new Int32Array(n);
  for (let i = 0; i < n; i++) {
    const folded = planes[i] | (planes[n + i] << 8) | (planes[2 * n + i] << 16) | (planes[3 * n + i] << 24);
    out[i] = (folded >>> 1) ^ -(folded & 1);
  }
  if (row) {
    for (let i = 0; i < n; i++) if (i % row) out[i] += out[i - 1];
    for (let i = row; i < n; i++) out[i] += out[i - row];
  } else {
    for (let i = 1; i < n; i++) out[i] += out[i - 1];
  }
  return out;
}

async function unpackBits(pack) {
  const bytes = await inflate(pack.z);
  const out = new Uint8Array(pack.n);
  for (let i = 0; i < pack.n; i++) out[i] = (bytes[i >> 3] >> (7 - (i & 7))) & 1;
  return out;
}

async function unpackGrid(pack) {
  const whole = await unpack(pack.values);
  const known = await unpackBits(pack.known);
  const values = new Float32Array(whole.length);
  let least = Infinity;
  let most = -Infinity;
  const digits = Math.max(0, Math.round(-Math.log10(pack.step)));
  const over = Math.round(1 / pack.step); // whole over ten to a power is nearer than whole times step
  for (let i = 0; i < whole.length; i++) {
    values[i] = known[i] ? whole[i] / over : NaN;
    if (known[i]) {
      least = Math.min(least, values[i]);
      most = Math.max(most, values[i]);
    }
  }
  return { ...pack, values, whole, over, digits, least, most };
}

// The value of the cell at a place, as it was packed; NaN where there is none.
function cellValue(grid, east, south) {
  const col = Math.floor((east - grid.left) / grid.cell);
  const row = Math.floor((south - grid.top) / grid.cell);
  if (col < 0 || row < 0 || col >= grid.cols || row >= grid.rows) return NaN;
  const at = row * grid.cols + col;
  return Number.isNaN(grid.values[at]) ? NaN : grid.whole[at] / grid.over;
}

// Between cell centres; where a neighbour is missing, the value of the cell itself.
function smoothValue(grid, east, south) {
  const x = (east - grid.left) / grid.cell - 0.5;
  const y = (south - grid.top) / grid.cell - 0.5;
  const col = Math.floor(x);
  const row = Math.floor(y);
  if (col < 0 || row < 0 || col + 1 >= grid.cols || row + 1 >= grid.rows) return cellValue(grid, east, south);
  const at = row * grid.cols + col;
  const v = grid.values;
  const fx = x - col;
  const fy = y - row;
  const upper = v[at] * (1 - fx) + v[at + 1] * fx;
  const lower = v[at + grid.cols] * (1 - fx) + v[at + grid.cols + 1] * fx;
  const value = upper * (1 - fy) + lower * fy;
  return Number.isNaN(value) ? cellValue(grid, east, south) : value;
}

const number = (value, digits) =>
  (Number(value.toFixed(digits)) + 0) // of minus nothing too
    .toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
const isUs = () => choice.units === "us";
const feet = (metres) => metres * data.units.m;
const lengthUnit = () => (isUs() ? "ft" : "m");
const inUnit = (metres) => (isUs() ? feet(metres) : metres);
const fromUnit = (value) => (isUs() ? value / data.units.m : value);
const depthText = (metres) => (isUs() ? `${number(feet(metres), 1)} ft` : `${number(metres, 2)} m`);
const farText = (metres) => (isUs() ? `${number(feet(metres), 0)} ft` : `${number(metres, metres < 20 ? 1 : 0)} m`);
// Figure and ends of its band to one place: two figures of half the band, else four of the figure.
function quoted(value, low = NaN, high = NaN) {
  const half = (high - low) / 2;
  const banded = half > 1e-9 * Math.abs(value);
  const size = banded ? half : Math.abs(value);
  const place = size > 0 ? Math.min((banded ? 1 : 3) - Math.floor(Math.log10(size)), 6) : 0;
  const told = (part) => place < 0 ? number(Math.round(part * 10 ** place) * 10 ** -place, 0) : number(part, place);
  return (banded ? [value, low, high] : [value]).map(told);
}
// An area or a volume in m2 or m3, and its band where there is one.
function quotedText(unit, ...figures) {
  const name = { m2: ["m\u00b2", "acres"], m3: ["m\u00b3", "acre-ft"] }[unit][isUs() ? 1 : 0];
  const [figure, low, high] = quoted(...figures.map((part) => (isUs() ? part * data.units[unit] : part)));
  return [`${figure} ${name}`, low === undefined || low === high ? "" : `90 %: ${low} to ${high} ${name}`];
}
const rangeText = (text, low, high) => `${text(low).replace(/ \D+$/, "").replace(/ m.$/, "")} to ${text(high)}`;

const channels = (hex) => [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
const ramps = Object.fromEntries(
  Object.entries(data.ramps).map(([name, stops]) => [name, stops.map(channels)])
);

function rampColour(name, share) {
  const stops = ramps[name];
  const at = Math.min(Math.max(share, 0), 1) * (stops.length - 1);
  const low = Math.floor(at);
  const high = Math.min(low + 1, stops.length - 1);
  return stops[low].map((part, i) => part + (stops[high][i] - part) * (at - low));
}

const css = (rgb, alpha = 1) => `rgba(${rgb.map(Math.round).join(",")},${alpha})`;
const luminance = (rgb) =>
  rgb.reduce((sum, part, i) => sum + [0.2126, 0.7152, 0.0722][i] * (part / 255) ** 2.2, 0);
const readable = (rgb) => (luminance(rgb) > 0.2 ? INK : PAPER);

function element(name, attributes = {}, text = "") {
  const space = ["svg", "path", "line", "text", "g", "polyline", "polygon", "rect", "circle"].includes(name);
  const made = space
    ? document.createElementNS("http://www.w3.org/2000/svg", name)
    : document.createElement(name);
  Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
  if (text) made.textContent = text;
  return made;
}

// 1, 2 or 5 times a power of ten, at most so large.
function roundDown(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return [5, 2, 1].map((digit) => digit * power).find((step) => step <= value * 1.0000001) || power;
}

function ticks(least, most, count) {
  const step = roundDown((most - least) / count || 1);
  const made = [];
  for (let k = Math.ceil(least / step - 1e-9); k * step <= most + 1e-9 * step; k++) made.push(k * step);
  return { made, digits: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}

// Fit a canvas to its box; returns its size in CSS pixels, and dots to a pixel.
function fitted(canvas) {
  const box = canvas.getBoundingClientRect();
  const dots = Math.min(window.devicePixelRatio || 1, 2);
  const wide = Math.max(1, Math.round(box.width * dots));
  const high = Math.max(1, Math.round(box.height * dots));
  if (canvas.width !== wide || canvas.height !== high) {
    canvas.width = wide;
    canvas.height = high;
  }
  return { wide: wide / dots, high: high / dots, dots };
}

// Draw at most once a frame, and only while the reader can see it, or prints.
function onceAFrame(box, draw) {
  let asked = false;
  let seen = true;
  let missed = false;
  const ask = () => {
    missed = !seen;
    if (asked || !seen) return;
    asked = true;
    requestAnimationFrame(() => {
      asked = false;
      draw();
    });
  };
  new IntersectionObserver((entries) => {
    seen = entries[entries.length - 1].isIntersecting;
    if (seen && missed) ask();
  }, { rootMargin: "300px" }).observe(box);
  window.addEventListener("beforeprint", draw);
  return ask;
}

// Longitude and latitude of a place, between the places at which they are told; null on a plane.
function degreesAt(east, south) {
  const net = data.degrees;
  if (!net) return null;
  const last = net.n - 1;
  const x = Math.min(Math.max((east / net.wide) * last, 0), last - 1e-9);
  const y = Math.min(Math.max((south / net.high) * last, 0), last - 1e-9);
  const col = Math.floor(x);
  const row = Math.floor(y);
  const between = (values) => {
    const at = row * net.n + col;
    const upper = values[at] * (1 - x + col) + values[at + 1] * (x - col);
    const lower = values[at + net.n] * (1 - x + col) + values[at + net.n + 1] * (x - col);
    return upper * (1 - y + row) + lower * (y - row);
  };
  return [between(net.longitude), between(net.latitude)];
}

// By how much true north lies to the right of the map's own, degrees.
function northAt(east, south) {
  const net = data.degrees;
  if (!net) return 0;
  const here = degreesAt(east, south);
  const step = net.high / 8;
  const up = degreesAt(east, Math.max(south - step, 0));
  const down = degreesAt(east, Math.min(south + step, net.high));
  const run = Math.cos((here[1] * Math.PI) / 180) * (up[0] - down[0]);
  // a meridian leans left where longitude grows northwards along the grid
  return (-Math.atan2(run, up[1] - down[1]) * 180) / Math.PI;
}
