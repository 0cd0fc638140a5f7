// Reading: what lies at a place, in words.

function makeReading(pen, grids, shapes, soundings) {
  const { context, eye, size, toScreen, toPlace, inMetres } = pen;
  let last = null;

  function nearestSounding(x, y) {
    if (!soundings || !(choice.on.soundings || choice.on.rejected)) return null;
    let best = null;
    let least = 10;
    for (let i = 0; i < soundings.n; i++) {
      if (soundings.reason[i] ? !choice.on.rejected : !choice.on.soundings) continue;
      const [px, py] = toScreen(soundings.east[i] * soundings.step, soundings.south[i] * soundings.step);
      const far = Math.hypot(px - x, py - y);
      if (far < least) [best, least] = [i, far];
    }
    return best;
  }

  function thingAt(x, y) {
    const nearest = (some) => {
      let [best, least] = [null, 16];
      (some || []).forEach((shape) => {
        const [px, py] = toScreen(shape.lines[0][0], shape.lines[0][1]);
        const far = Math.hypot(px - x, py - y);
        if (far < least) [best, least] = [shape, far];
      });
      return best;
    };
    const mark = choice.on.marks && nearest(shapes.marks);
    if (mark) return { text: `Mark ${mark.row.mark}${mark.row.kind ? `: ${mark.row.kind}` : ""}`, mark: mark.row.mark };
    const peg = choice.on.marks && nearest(shapes.pegs);
    if (peg) return { text: `Peg ${peg.row.peg}` };
    const i = nearestSounding(x, y);
    if (i !== null) {
      const told = soundings.deep[i] ? depthText(soundings.depth[i] / 1000) : "no depth";
      const why = soundings.reason[i] ? `, rejected: ${soundings.reasons[soundings.reason[i]]}` : "";
      return { text: `Sounding ${told}, ${soundings.sources[soundings.source[i]] || "point"}${why}` };
    }
    if (!choice.on.features) return null;
    inMetres(context);
    const [px, py] = [x * size.dots, y * size.dots];
    context.lineWidth = 12 / eye.scale;
    const feature = (shapes.features || []).find(
      (shape) => (shape.kind === 2 && context.isPointInPath(shape.path, px, py, "evenodd")) || context.isPointInStroke(shape.path, px, py)
    );
    if (!feature) return null;
    const { kind, feature: which, depth_least_m: from, depth_greatest_m: to } = feature.row;
    const deep = typeof from === "number" && typeof to === "number" ? `, ${rangeText(depthText, from, to)} deep` : "";
    return { text: `${kind} ${which === undefined ? "" : which}${deep}` };
  }

  function read(x, y, aloud) {
    const place = toPlace(x, y);
    showReading(place, thingAt(x, y), aloud);
  }

  function showReading([east, south], thing, aloud) {
    const value = cellValue(grids.depth, east, south);
    const sd = grids.sd ? cellValue(grids.sd, east, south) : NaN;
    const slope = grids.slope ? cellValue(grids.slope, east, south) : NaN;
    const guess = grids.unsurveyed && cellValue(grids.unsurveyed, east, south) > 0;
    byId("read-depth").textContent = Number.isNaN(value) ? "no bed here" : depthText(value);
    byId("read-sd").textContent = Number.isNaN(sd) ? "\u2013" : depthText(sd);
    byId("read-slope").textContent = Number.isNaN(slope)
      ? "\u2013" : `${number(slope, 1)}${grids.slope.unit === "percent" ? " %" : "\u00b0"}`;
    const degrees = degreesAt(east, south);
    byId("read-place").textContent =
      `${(data.west + east).toFixed(0)} E ${(data.north - south).toFixed(0)} N` +
      (degrees ? ` (${degrees[1].toFixed(6)}, ${degrees[0].toFixed(6)})` : "");
    byId("read-thing").textContent = `${thing ? thing.text : ""}${thing && guess ? "; " : ""}${guess ? "not surveyed: a guess" : ""}`;
    if (aloud) {
      const told = Number.isNaN(value) ? "no bed here" : `depth ${depthText(value)}`;
      byId("aloud").textContent = `${told}${Number.isNaN(sd) ? "" : `, standard deviation ${depthText(sd)}`}. ${byId("read-thing").textContent}`;
    }
    last = [east, south];
  }

  watch((what) => {
    if (what === "units" && last) read(...toScreen(...last), false);
  });
  return { read };
}
