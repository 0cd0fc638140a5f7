// A section: depth and its band along a line drawn by two taps.

function makeSection(grids, map) {
  const canvas = byId("profile");
  const context = canvas.getContext("2d");
  const SAMPLES = 300;
  let line = null;

  function sample() {
    if (!choice.section) return null;
    const [[east, south], [toEast, toSouth]] = choice.section;
    const long = Math.hypot(toEast - east, toSouth - south);
    const points = [];
    for (let i = 0; i <= SAMPLES; i++) {
      const share = i / SAMPLES;
      const place = [east + share * (toEast - east), south + share * (toSouth - south)];
      points.push({
        away: share * long,
        place,
        depth: smoothValue(grids.depth, ...place),
        sd: grids.sd ? smoothValue(grids.sd, ...place) : NaN,
        slope: grids.slope ? cellValue(grids.slope, ...place) : NaN,
      });
    }
    const turn = (Math.atan2(toEast - east, south - toSouth) * 180) / Math.PI;
    return { points, long, bearing: (turn - northAt(east, south) + 720) % 360 };
  }

  function frame(size) {
    const room = { left: 46, right: 12, top: 12, bottom: 34 };
    const known = line.points.filter((point) => !Number.isNaN(point.depth));
    const deepest = Math.max(...known.map((p) => p.depth + (Number.isNaN(p.sd) ? 0 : NORMAL_90 * p.sd)), 0.5);
    const top = Math.min(0, grids.depth.least);
    const x = (away) => room.left + (away / line.long) * (size.wide - room.left - room.right);
    const y = (deep) => room.top + ((deep - top) / (1.06 * deepest - top)) * (size.high - room.top - room.bottom);
    return { room, known, deepest, top, x, y };
  }

  function drawNow() {
    if (!line || byId("section-plot").hidden) return;
    const size = fitted(canvas);
    context.setTransform(size.dots, 0, 0, size.dots, 0, 0);
    context.clearRect(0, 0, size.wide, size.high);
    context.fillStyle = PAPER;
    context.fillRect(0, 0, size.wide, size.high);
    const plot = frame(size);
    drawAxes(size, plot);
    runs(line.points).forEach((run) => drawRun(run, size, plot));
    drawPointer(size, plot);
  }

  // Stretches with a bed, between islands and beyond the shore.
  function runs(points) {
    const made = [];
    let run = [];
    points.forEach((point) => {
      if (Number.isNaN(point.depth)) {
        if (run.length > 1) made.push(run);
        run = [];
      } else run.push(point);
    });
    if (run.length > 1) made.push(run);
    return made;
  }

  function drawRun(run, size, { x, y, room }) {
    const trace = (points, depthOf) => points.map((point) => [x(point.away), y(depthOf(point))]);
    const bed = trace(run, (point) => point.depth);
    const surface = y(Math.max(choice.level || 0, Math.min(0, grids.depth.least)));
    fill([[bed[0][0], surface], ...bed.map(([px, py]) => [px, Math.max(py, surface)]), [bed[bed.length - 1][0], surface]], "#cfe6ee");
    fill([...bed, [bed[bed.length - 1][0], size.high - room.bottom], [bed[0][0], size.high - room.bottom]], "#d8c7a3");
    if (!Number.isNaN(run[0].sd)) {
      const low = trace(run, (point) => Math.max(point.depth - NORMAL_90 * point.sd, Math.min(0, grids.depth.least)));
      const high = trace(run, (point) => point.depth + NORMAL_90 * point.sd);
      fill([...low, ...high.reverse()], "rgba(90,60,20,.38)");
    }
    stroke(bed, INK, choice.sun ? 3.5 : 2.2);
  }

  function fill(places, colour) {
    context.beginPath();
    places.forEach(([px, py]) => context.lineTo(px, py));
    context.fillStyle = colour;
    context.fill();
  }

  function stroke(places, colour, width) {
    context.beginPath();
    places.forEach(([px, py]) => context.lineTo(px, py));
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineJoin = "round";
    context.stroke();
  }

  function drawAxes(size, { x, y, room, deepest, top }) {
    context.font = `${choice.sun ? 14 : 12}px system-ui, sans-serif`;
    context.fillStyle = INK;
    context.textAlign = "right";
    context.textBaseline = "middle";
    const deep = ticks(inUnit(top), inUnit(1.06 * deepest), Math.max(3, Math.floor(size.high / 50)));
    deep.made.forEach((value) => {
      const at = y(fromUnit(value));
      stroke([[room.left, at], [size.wide - room.right, at]], "#d5dde1", 1);
      context.fillText(number(value, deep.digits), room.left - 6, at);
    });
    context.textAlign = "center";
    context.textBaseline = "top";
    const far = ticks(0, inUnit(line.long), Math.max(3, Math.floor(size.wide / 110)));
    far.made.filter((value) => x(fromUnit(value)) < size.wide - 22).forEach((value) => context.fillText(number(value, far.digits), x(fromUnit(value)), size.high - room.bottom + 5));
    context.fillText(`along the section, ${lengthUnit()}`, (size.wide + room.left) / 2, size.high - 15);
    context.save();
    context.translate(10, (size.high - room.bottom) / 2);
    context.rotate(-Math.PI / 2);
    context.textBaseline = "middle";
    context.fillText(`depth, ${lengthUnit()}`, 0, 0);
    context.restore();
  }

  function drawPointer(size, { x, y, room }) {
    const point = line.points[Number(byId("along").value)];
    stroke([[x(point.away), room.top], [x(point.away), size.high - room.bottom]], INK, 1);
    if (Number.isNaN(point.depth)) return;
    context.beginPath();
    context.arc(x(point.away), y(point.depth), 5, 0, 2 * Math.PI);
    context.fillStyle = FAULT;
    context.fill();
  }
  const draw = onceAFrame(canvas, drawNow);

  function told(point) {
    const depth = Number.isNaN(point.depth) ? "no bed" : `${depthText(point.depth)} deep`;
    const low = Math.max(point.depth - NORMAL_90 * point.sd, Math.min(0, grids.depth.least));
    const band = Number.isNaN(point.sd) || Number.isNaN(point.depth)
      ? "" : ` (90 %: ${rangeText(depthText, low, point.depth + NORMAL_90 * point.sd)})`;
    const slope = Number.isNaN(point.slope) ? "" : `, slope ${number(point.slope, 1)}${grids.slope.unit === "percent" ? " %" : "\u00b0"}`;
    return `${farText(point.away)} from A: ${depth}${band}${slope}`;
  }

  function show() {
    line = sample();
    byId("section-plot").hidden = !line;
    byId("pick").setAttribute("aria-pressed", String(choice.picking));
    byId("map").classList.toggle("picking", choice.picking);
    byId("pick-hint").textContent = choice.picking
      ? "Tap the map at A, then at B. With keys: arrows move the map under the cross, Enter sets an end."
      : line ? "" : "Press the button, then tap the map at two places.";
    if (!line) return;
    const known = line.points.filter((point) => !Number.isNaN(point.depth));
    const depths = known.map((point) => point.depth);
    byId("section-facts").textContent = known.length
      ? `${farText(line.long)} on ${number(line.bearing, 0)}\u00b0 true; ` +
        `${rangeText(depthText, Math.min(...depths), Math.max(...depths))} deep, ` +
        `mean ${depthText(depths.reduce((sum, value) => sum + value, 0) / depths.length)}`
      : "No bed beneath this line.";
    showPoint();
  }

  function showPoint() {
    if (!line) return;
    const point = line.points[Number(byId("along").value)];
    byId("along").setAttribute("aria-valuetext", told(point));
    byId("along-told").textContent = told(point);
    draw();
  }

  function offerCasts() {
    const casts = map.casts();
    byId("casts").hidden = !casts.length;
    casts.forEach(({ name }, i) => byId("cast").append(element("option", { value: i }, name)));
    byId("cast").addEventListener("change", () => {
      const cast = casts[Number(byId("cast").value)];
      if (byId("cast").value === "" || !cast) return;
      choice.section = cast.ends;
      choice.picking = false;
      changed("section");
    });
  }

  byId("pick").addEventListener("click", () => {
    choice.picking = !choice.picking;
    if (choice.picking) {
      byId("map").focus({ preventScroll: true });
      byId("map").scrollIntoView({ block: "nearest" });
    }
    changed("section");
  });
  byId("along").addEventListener("input", () => {
    showPoint();
    if (line) map.showPlace(line.points[Number(byId("along").value)].place);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!line) return;
    const box = canvas.getBoundingClientRect();
    const share = (event.clientX - box.left - 46) / (box.width - 58);
    byId("along").value = String(Math.round(Math.min(Math.max(share, 0), 1) * SAMPLES));
    showPoint();
    map.showPlace(line.points[Number(byId("along").value)].place);
  });
  new ResizeObserver(draw).observe(canvas);
  offerCasts();
  watch((what) => {
    if (["section", "units", "all"].includes(what)) show();
    if (what === "section" && choice.section) byId("section-plot").scrollIntoView({ block: "nearest" });
    draw();
  });
}
