// The pen: what draws on the map, in metres of the page or in pixels of the screen.

function makePen(canvas) {
  const context = canvas.getContext("2d");
  const stage = document.createElement("canvas");
  const eye = { east: 0, south: 0, scale: 1 };
  const size = { wide: 1, high: 1, dots: 1 };
  const busy = []; // boxes of what is written, in pixels

  // Begin a picture; says whether the canvas has another size than before.
  function begin() {
    const box = fitted(canvas);
    const grew = box.wide !== size.wide || box.high !== size.high;
    Object.assign(size, box);
    busy.length = 0;
    return grew;
  }

  const toScreen = (east, south) => [
    (east - eye.east) * eye.scale + size.wide / 2,
    (south - eye.south) * eye.scale + size.high / 2,
  ];
  const toPlace = (x, y) => [(x - size.wide / 2) / eye.scale + eye.east, (y - size.high / 2) / eye.scale + eye.south];

  function inMetres(ctx) {
    const k = size.dots * eye.scale;
    ctx.setTransform(k, 0, 0, k, size.dots * (size.wide / 2 - eye.east * eye.scale), size.dots * (size.high / 2 - eye.south * eye.scale));
  }
  const inPixels = (ctx) => ctx.setTransform(size.dots, 0, 0, size.dots, 0, 0);
  const wide = (pixels) => ((choice.sun ? 1.6 : 1) * pixels) / eye.scale;

  function drawPicture(ctx, image, grid) {
    ctx.imageSmoothingEnabled = true;
    ctx.drawImage(image, grid.left, grid.top, grid.cols * grid.cell, grid.rows * grid.cell);
  }

  function stroke(path, colour, width, dash = []) {
    context.strokeStyle = colour;
    context.lineWidth = wide(width);
    context.setLineDash(dash.map((part) => part / eye.scale));
    context.stroke(path);
    context.setLineDash([]);
  }

  function cased(path, colour, width, dash = []) {
    stroke(path, "rgba(255,255,255,.8)", width + 1.8);
    stroke(path, colour, width, dash);
  }

  // Write beside a place where nothing is yet; where there is no room, not at all.
  function label(text, [x0, y0], back, fore, { alpha = 1, away = 0, must = false } = {}) {
    inPixels(context);
    const shown = text.length > 24 ? `${text.slice(0, 23)}\u2026` : text;
    context.font = `600 ${choice.sun ? 15 : 12}px system-ui, sans-serif`;
    const across = context.measureText(shown).width + 8;
    const high = choice.sun ? 21 : 17;
    const [dx, dy] = [away + across / 2, away + high / 2];
    const places = [[0, dy], [0, -dy], [dx, 0], [-dx, 0], [dx, dy], [-dx, dy], [dx, -dy], [-dx, -dy]];
    const room = (away ? places : [[0, 0], [0, high], [0, -high], [0.7 * across, 0], [-0.7 * across, 0]])
      .map(([a, b]) => [x0 + a - across / 2, y0 + b - high / 2, x0 + a + across / 2, y0 + b + high / 2])
      .find((box) => must || !busy.some((other) => box[0] < other[2] && box[2] > other[0] && box[1] < other[3] && box[3] > other[1]));
    if (!room) {
      inMetres(context);
      return;
    }
    busy.push(room);
    const [x, y] = [(room[0] + room[2]) / 2, (room[1] + room[3]) / 2];
    context.globalAlpha = alpha;
    context.fillStyle = back;
    context.strokeStyle = INK;
    context.lineWidth = 0.8;
    context.beginPath();
    context.roundRect(x - across / 2, y - high / 2, across, high, 4);
    context.fill();
    context.stroke();
    context.globalAlpha = 1;
    context.fillStyle = fore;
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.fillText(shown, x, y + 0.5);
    inMetres(context);
  }

  function dot(shape, radius, colour, form) {
    const [x, y] = toScreen(shape.lines[0][0], shape.lines[0][1]);
    const r = radius * (choice.sun ? 1.3 : 1);
    inPixels(context);
    context.beginPath();
    if (form === "square") context.rect(x - r, y - r, 2 * r, 2 * r);
    else if (form === "triangle") {
      context.moveTo(x, y - r);
      context.lineTo(x + r, y + r);
      context.lineTo(x - r, y + r);
      context.closePath();
    } else context.arc(x, y, r, 0, 2 * Math.PI);
    context.fillStyle = colour;
    context.strokeStyle = PAPER;
    context.lineWidth = 1.5;
    context.stroke();
    context.fill();
    inMetres(context);
  }

  // Many dots at once, straight into a picture of the screen.
  function dotted({ dots }, across) {
    stage.width = canvas.width;
    stage.height = canvas.height;
    const ctx = stage.getContext("2d");
    const image = ctx.createImageData(stage.width, stage.height);
    const pixels = new Uint32Array(image.data.buffer);
    const put = (x, y) => {
      const col = Math.round(x * dots - across / 2);
      const row = Math.round(y * dots - across / 2);
      for (let r = Math.max(row, 0); r < Math.min(row + across, stage.height); r++) {
        for (let c = Math.max(col, 0); c < Math.min(col + across, stage.width); c++) pixels[r * stage.width + c] = 0xcc2e2416;
      }
    };
    const show = () => {
      ctx.putImageData(image, 0, 0);
      context.drawImage(stage, 0, 0, size.wide, size.high);
    };
    return { put, show };
  }

  // A sheet of the size of the map, to be laid upon it.
  function sheet(draw) {
    stage.width = canvas.width;
    stage.height = canvas.height;
    draw(stage.getContext("2d"));
    inPixels(context);
    context.drawImage(stage, 0, 0, size.wide, size.high);
    inMetres(context);
  }

  return {
    canvas, context, eye, size, busy, begin, toScreen, toPlace, inMetres, inPixels,
    drawPicture, stroke, cased, label, dot, dotted, sheet,
  };
}
