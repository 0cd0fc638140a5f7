// Area and volume by depth: the curve with its band, and a water level the reader moves.

function makeLevels() {
  const curve = data.curve;
  const depths = curve.depth_m;
  const last = depths.length - 1;
  const banded = Boolean(curve.area_low_m2);
  const slider = byId("level");
  const near = byId("level-near-map");
  const box = byId("level-number");
  const plot = byId("curve");
  const H = 330;
  let W = 560;
  const room = { left: 58, right: 14, top: 44, bottom: 40 };

  // Between two levels of the table a straight line; at them, the table.
  function at(name, depth) {
    const column = curve[name];
    if (!column) return NaN;
    let high = depths.findIndex((value) => value >= depth);
    if (high < 0) high = last;
    const exact = column[high];
    if (high === 0 || depths[high] === depth) return exact;
    const low = high - 1;
    const share = (depth - depths[low]) / (depths[high] - depths[low]);
    return column[low] + share * (exact - column[low]);
  }

  const x = (share) => room.left + share * (W - room.left - room.right);
  const y = (depth) => room.top + ((depth - depths[0]) / (depths[last] - depths[0])) * (H - room.top - room.bottom);
  const points = (column, most) => column.map((value, i) => `${x(value / most).toFixed(1)},${y(depths[i]).toFixed(1)}`);

  function band(name, unit, most, colour) {
    const low = points(curve[`${name}_low_${unit}`], most);
    const high = points(curve[`${name}_high_${unit}`], most);
    return element("polygon", { points: [...low, ...high.reverse()].join(" "), fill: colour, stroke: "none" });
  }

  function drawNow() {
    const mostArea = Math.max(...curve.area_m2, ...(curve.area_high_m2 || []));
    const mostVolume = Math.max(...curve.volume_below_m3, ...(curve.volume_below_high_m3 || []));
    W = Math.max(300, Math.round(plot.getBoundingClientRect().width));
    plot.setAttribute("viewBox", `0 0 ${W} ${H}`);
    plot.replaceChildren();
    const text = (value, px, py, options = {}) =>
      plot.append(element("text", { x: px, y: py, "font-size": 12, fill: INK, ...options }, value));
    const deep = ticks(inUnit(depths[0]), inUnit(depths[last]), 6);
    deep.made.forEach((value) => {
      const py = y(fromUnit(value));
      plot.append(element("line", { x1: room.left, x2: W - room.right, y1: py, y2: py, stroke: "#d5dde1" }));
      text(number(value, deep.digits), room.left - 7, py + 4, { "text-anchor": "end" });
    });
    text(`depth, ${lengthUnit()}`, 14, (H + room.top - room.bottom) / 2, {
      transform: `rotate(-90 14 ${(H + room.top - room.bottom) / 2})`, "text-anchor": "middle",
    });
    axis(mostArea * (isUs() ? data.units.m2 : 1e-4), H - room.bottom + 16, isUs() ? "area, acres" : "area, ha", "#0b4f8a", H - 8, text);
    axis(mostVolume * (isUs() ? data.units.m3 : 1), room.top - 8, isUs() ? "volume below, acre-ft" : "volume below, m\u00b3", "#8a3b12", 13, text);
    if (banded) {
      plot.append(band("volume_below", "m3", mostVolume, "rgba(200,90,30,.28)"));
      plot.append(band("area", "m2", mostArea, "rgba(11,79,138,.28)"));
    }
    const trace = (column, most, colour, dash) => element("polyline", {
      points: points(column, most).join(" "), fill: "none", stroke: colour, "stroke-width": 2.4, "stroke-dasharray": dash,
    });
    plot.append(trace(curve.volume_below_m3, mostVolume, "#8a3b12", "7 4"));
    plot.append(trace(curve.area_m2, mostArea, "#0b4f8a", "none"));
    drawLevel(mostArea, mostVolume);
  }

  const draw = onceAFrame(plot, drawNow);

  function axis(most, py, title, colour, titleY, text) {
    const along = ticks(0, most, W < 420 ? 4 : 6);
    const told = Math.max(...along.made) >= 1e5 ? (value) => (value ? `${Number((value / 1e6).toPrecision(3))} M` : "0") : (value) => number(value, along.digits);
    along.made.forEach((value) => text(told(value), x(value / most), py, { "text-anchor": "middle", fill: colour }));
    text(title, (W + room.left) / 2, titleY, { "text-anchor": "middle", fill: colour, "font-weight": 600 });
  }

  function drawLevel(mostArea, mostVolume) {
    const depth = choice.level;
    plot.append(element("line", { x1: room.left, x2: W - room.right, y1: y(depth), y2: y(depth), stroke: INK, "stroke-width": 1.4 }));
    [[at("area_m2", depth) / mostArea, "#0b4f8a"], [at("volume_below_m3", depth) / mostVolume, "#8a3b12"]].forEach(([share, colour]) => {
      plot.append(element("circle", { cx: x(share), cy: y(depth), r: 5, fill: colour, stroke: PAPER, "stroke-width": 1.5 }));
    });
  }

  function tell() {
    const depth = choice.level;
    const row = (id, name, unit) => {
      const told = quotedText(unit, ...["", "_low", "_high"].map((end) => at(`${name}${end}_${unit}`, depth)));
      [id, `${id}-band`].forEach((part, i) => (byId(part).textContent = told[i]));
      return told[0];
    };
    const area = row("level-area", "area", "m2");
    const volume = row("level-volume", "volume_below", "m3");
    row("level-released", "volume_above", "m3");
    const share = at("volume_share", depth);
    byId("level-share").textContent = `${number(100 * share, 1)} %`;
    const high = data.datum === null ? NaN : data.datum - depth;
    byId("level-elevation").textContent = Number.isNaN(high) ? "not known" : `${number(inUnit(high), 2)} ${lengthUnit()}`;
    [slider, near].forEach((input) => (input.value = String(depth)));
    byId("near-told").textContent = `${depthText(depth)} below the datum: ${area}, ${volume}`;
    near.setAttribute("aria-valuetext", byId("near-told").textContent);
    slider.setAttribute("aria-valuetext", `water ${depthText(depth)} below the datum, area ${area}, volume ${volume}`);
    if (document.activeElement !== box) box.value = String(Number(inUnit(depth).toFixed(3)));
    byId("level-unit").textContent = lengthUnit();
  }

  function set(depth) {
    choice.level = Math.min(Math.max(depth, depths[0]), depths[last]);
    changed("level");
  }

  [slider, near].forEach((input) => {
    input.min = String(depths[0]);
    input.max = String(depths[last]);
    input.step = "any";
    input.addEventListener("input", () => set(Number(input.value)));
    input.addEventListener("keydown", (event) => {
      // a browser's own step would be a hundredth of the whole
      const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageUp: 10, PageDown: -10 };
      if (!steps[event.key]) return;
      event.preventDefault();
      set(choice.level + (steps[event.key] * (depths[last] - depths[0])) / 200);
    });
  });
  box.addEventListener("change", () => {
    const wanted = Number(box.value);
    if (box.value !== "" && Number.isFinite(wanted)) set(fromUnit(wanted));
    box.value = String(Number(inUnit(choice.level).toFixed(3)));
  });
  byId("level-reset").addEventListener("click", () => set(Math.max(0, depths[0])));
  choice.level = Math.max(0, depths[0]);
  new ResizeObserver(() => {
    if (Math.abs(plot.getBoundingClientRect().width - W) > 1) draw();
  }).observe(plot);
  watch((what) => {
    if (["level", "units", "all"].includes(what)) {
      tell();
      draw();
    }
  });
}
