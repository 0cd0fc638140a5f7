// Signs on the map: features, plants, marks, pegs, soundings, the section and the cross.

// Dashes by kind of form; colours come with the data, as everywhere else.
const DASHES = { "drop-off foot": [5, 3], "gully axis": [9, 3, 2, 3], hump: [3, 3], bar: [7, 3], plateau: [10, 3], shelf: [2, 3] };

function makeSigns(pen, shapes, soundings) {
  const { context, eye, size, busy, toScreen, inMetres, inPixels, stroke, cased, label, dot, dotted } = pen;

  function drawShapes(name) {
    const layer = shapes[name];
    if (!layer) return;
    layer.forEach((shape) => {
      if (name === "plants") {
        context.fillStyle = "rgba(0,110,70,.24)";
        if (shape.kind === 2) context.fill(shape.path, "evenodd");
        stroke(shape.path, "#00563a", 1.1, [1.5, 2.5]);
      } else if (name === "exclusions") {
        context.fillStyle = "rgba(179,38,30,.18)";
        if (shape.kind === 2) context.fill(shape.path, "evenodd");
        if (shape.kind) cased(shape.path, FAULT, 2, [8, 3]);
        else dot(shape, 6, FAULT, "square");
      } else if (name === "features") {
        const own = (table, other) => (Object.hasOwn(table, shape.row.kind) ? table[shape.row.kind] : other);
        const colour = own(data.forms, INK);
        context.fillStyle = colour;
        context.globalAlpha = 0.13;
        if (shape.kind === 2) context.fill(shape.path, "evenodd");
        context.globalAlpha = 1;
        cased(shape.path, colour, 2, own(DASHES, []));
      } else if (name === "plan") {
        cased(shape.path, data.planned, 2, [7, 4]);
      } else if (name === "course") {
        cased(shape.path, INK, 1.4);
      }
    });
  }

  function drawFeatureNames() {
    const told = new Set();
    (shapes.features || []).forEach((shape) => {
      const { kind, feature } = shape.row;
      const name = (kind || "").replace(/ (lip|foot|axis)$/, "");
      if (told.has(`${name} ${feature}`)) return;
      told.add(`${name} ${feature}`);
      label(`${name} ${feature === undefined ? "" : feature}`, toScreen(...middleOf(shape)), PAPER, INK, { alpha: 0.85 });
    });
  }

  function drawMarks() {
    (shapes.marks || []).forEach((mark) => {
      const { peg_easting_m: east, peg_northing_m: north } = mark.row;
      if (typeof east !== "number" || typeof north !== "number") return;
      const path = new Path2D();
      path.moveTo(east - data.west, data.north - north);
      path.lineTo(mark.lines[0][0], mark.lines[0][1]);
      cased(path, INK, 1);
    });
    (shapes.pegs || []).forEach((peg) => dot(peg, 7, INK, "triangle"));
    [...(shapes.marks || [])].reverse().forEach(drawMark); // the best on top
    (shapes.pegs || []).forEach((peg) => {
      label(String(peg.row.peg), toScreen(peg.lines[0][0], peg.lines[0][1]), INK, PAPER, { away: 9 });
    });
  }

  function drawMark(mark) {
    const r = Math.min(Math.max(4 * Math.sqrt(eye.scale), 7), 10);
    dot(mark, r, FAULT, "circle");
    inPixels(context);
    const [x, y] = toScreen(mark.lines[0][0], mark.lines[0][1]);
    const told = String(mark.row.mark);
    const tall = (choice.sun ? 1.3 : 1) * r * (told.length > 2 ? 0.9 : 1.25);
    context.font = `700 ${tall}px system-ui, sans-serif`;
    context.fillStyle = PAPER;
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.fillText(told.slice(0, 3), x, y + 0.5);
    busy.push([x - r, y - r, x + r, y + r]);
    inMetres(context);
  }

  function drawPlanNames() {
    (shapes.plan || []).forEach((way) => {
      const line = way.lines[0];
      const end = toScreen(line[line.length - 2], line[line.length - 1]);
      if (way.row.order !== undefined) label(`${way.row.order}`, end, data.planned, INK);
    });
  }

  function drawSoundings() {
    if (!soundings || !(choice.on.soundings || choice.on.rejected)) return;
    inPixels(context);
    const r = Math.min(Math.max(0.7 * Math.sqrt(eye.scale), 0.8), 2.6) * (choice.sun ? 1.4 : 1);
    const crosses = new Path2D();
    const dots = dotted(size, Math.max(1, Math.round(2 * r * size.dots)));
    for (let i = 0; i < soundings.n; i++) {
      const [x, y] = toScreen(soundings.east[i] * soundings.step, soundings.south[i] * soundings.step);
      if (x < 0 || y < 0 || x > size.wide || y > size.high) continue;
      if (soundings.reason[i]) {
        crosses.moveTo(x - 3.5, y - 3.5);
        crosses.lineTo(x + 3.5, y + 3.5);
        crosses.moveTo(x + 3.5, y - 3.5);
        crosses.lineTo(x - 3.5, y + 3.5);
      } else if (choice.on.soundings) dots.put(x, y);
    }
    if (choice.on.soundings) dots.show();
    if (choice.on.rejected) {
      context.strokeStyle = PAPER;
      context.lineWidth = 3.6;
      context.stroke(crosses);
      context.strokeStyle = FAULT;
      context.lineWidth = 1.8;
      context.stroke(crosses);
    }
    inMetres(context);
  }

  function drawSection(first) {
    const ends = choice.section || (first && [first]);
    if (!ends) return;
    if (ends.length > 1) {
      const path = new Path2D();
      path.moveTo(...ends[0]);
      path.lineTo(...ends[1]);
      stroke(path, PAPER, 5);
      stroke(path, INK, 2.4);
    }
    ends.forEach((end, i) => label(i ? "B" : "A", toScreen(...end), INK, PAPER, { must: true }));
  }

  function drawCross(cross) {
    if (!cross) return;
    inPixels(context);
    const [x, y] = toScreen(...cross);
    [[PAPER, 4], [INK, 1.8]].forEach(([colour, width]) => {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.beginPath();
      [[-14, 0, -4, 0], [4, 0, 14, 0], [0, -14, 0, -4], [0, 4, 0, 14]].forEach(([a, b, c, d]) => {
        context.moveTo(x + a, y + b);
        context.lineTo(x + c, y + d);
      });
      context.stroke();
    });
    inMetres(context);
  }

  return { drawShapes, drawFeatureNames, drawMarks, drawPlanNames, drawSoundings, drawSection, drawCross };
}
