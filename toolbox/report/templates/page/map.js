// The map: its parts, in the order in which they are drawn, and where the reader looks.

function makeMap(grids, shapes, water, soundings) {
  const pen = makePen(byId("map"));
  const { context, eye, size, toPlace, inMetres, inPixels } = pen;
  const pictures = makePictures(grids);
  const ground = makeWater(pen, pictures, shapes, water);
  const signs = makeSigns(pen, shapes, soundings);
  const margin = makeMargin(pen);
  const { read } = makeReading(pen, grids, shapes, soundings);
  const whole = endsOf(water);
  const stale = new Set(); // pictures that must be painted anew
  let touched = false; // whether the reader has moved the map
  let cross = null; // place that is read, where no pointer shows it
  let first = null; // first end of a section that is being set

  function fit() {
    const margin = 1.08;
    eye.east = (whole[0] + whole[2]) / 2;
    eye.south = (whole[1] + whole[3]) / 2;
    eye.scale = Math.min(size.wide / (margin * (whole[2] - whole[0])), size.high / (margin * (whole[3] - whole[1])));
    touched = false;
  }

  // What is costly to paint waits for the next frame, and is then painted once.
  function repaint() {
    stale.forEach((part) => pictures.paint[part]());
    stale.clear();
  }

  function drawNow() {
    repaint();
    if (pen.begin() && !touched) fit();
    inPixels(context);
    context.fillStyle = "#f1eee6";
    context.fillRect(0, 0, size.wide, size.high);
    inMetres(context);
    context.lineJoin = "round";
    context.lineCap = "round";
    drawLayers(choice.on);
    signs.drawSection(first);
    signs.drawCross(cross);
    margin.drawScaleBar();
    margin.drawNorth();
    pen.canvas.dataset.easting = data.west + eye.east;
    pen.canvas.dataset.northing = data.north - eye.south;
    pen.canvas.dataset.scale = eye.scale;
  }
  const draw = onceAFrame(pen.canvas, drawNow);

  function drawLayers(on) {
    ground.drawWater();
    if (on.plants) signs.drawShapes("plants");
    if (on.isobaths) ground.drawIsobaths();
    ground.drawShore();
    if (on.features) signs.drawShapes("features");
    if (on.exclusions) signs.drawShapes("exclusions");
    signs.drawSoundings();
    if (on.isobaths) ground.drawNumbers();
    if (on.plan) signs.drawShapes("plan");
    if (on.marks) {
      signs.drawShapes("course");
      signs.drawMarks();
    }
    if (on.plan) signs.drawPlanNames();
    if (on.features) signs.drawFeatureNames();
  }

  function zoom(by, x = size.wide / 2, y = size.high / 2) {
    const before = toPlace(x, y);
    const smallest = 0.2 * Math.min(size.wide / (whole[2] - whole[0]), size.high / (whole[3] - whole[1]));
    eye.scale = Math.min(Math.max(eye.scale * by, smallest), 200);
    const after = toPlace(x, y);
    eye.east += before[0] - after[0];
    eye.south += before[1] - after[1];
    touched = true;
    draw();
  }

  function pan(dx, dy) {
    eye.east = Math.min(Math.max(eye.east - dx / eye.scale, whole[0]), whole[2]);
    eye.south = Math.min(Math.max(eye.south - dy / eye.scale, whole[1]), whole[3]);
    touched = true;
    draw();
  }

  function pick(place) {
    if (!first) {
      first = place;
      choice.section = null;
      byId("aloud").textContent = "A is set. Now set B.";
    } else if (place[0] !== first[0] || place[1] !== first[1]) {
      choice.section = [first, place];
      first = null;
      choice.picking = false;
      cross = null;
    }
    changed("section");
  }

  // Let go of a section of which one end is set.
  function letGo() {
    first = null;
    choice.picking = false;
    changed("section");
  }

  function showAll() {
    fit();
    draw();
  }

  // Mark a place by a cross; null hides it.
  function showPlace(place) {
    if (!place && !cross) return;
    cross = place;
    draw();
  }

  function goTo(east, south) {
    eye.scale = Math.max(eye.scale, Math.min(size.wide, size.high) / 220);
    eye.east = east;
    eye.south = south;
    cross = [east, south];
    touched = true;
    read(...pen.toScreen(east, south), true);
    draw();
  }

  // Ways from pegs to marks, for a section along a cast.
  function casts() {
    return (shapes.marks || []).filter((mark) => typeof mark.row.peg_easting_m === "number").map((mark) => ({
      name: `mark ${mark.row.mark} from peg ${mark.row.peg}`.slice(0, 60),
      ends: [
        [mark.row.peg_easting_m - data.west, data.north - mark.row.peg_northing_m],
        [mark.lines[0][0], mark.lines[0][1]],
      ],
    }));
  }

  watch((what) => {
    if (what === "shade" || what === "level") stale.add(what);
    if (what === "all") Object.keys(pictures.paint).forEach((part) => stale.add(part));
    if (what === "section" && choice.section) first = null;
    draw();
  });
  const map = { casts, goTo, showPlace, read, zoom, pan, pick, letGo, showAll, shares: pictures.shares, rim: pictures.rims.depth };
  listenToHands(map, pen);
  new ResizeObserver(draw).observe(pen.canvas);
  return map;
}
