// What stands at the margin of the map: scale bar and true north.

function makeMargin({ canvas, context, eye, size, inMetres, inPixels }) {
  function drawScaleBar() {
    inPixels(context);
    const most = Math.min(size.wide * 0.3, 160);
    const told = roundDown(inUnit(most / eye.scale));
    const long = fromUnit(told) * eye.scale;
    const [x, y] = [14, size.high - 16];
    context.fillStyle = "rgba(255,255,255,.85)";
    context.fillRect(x - 8, y - 22, Math.max(long, 40) + 18, 32);
    context.fillStyle = INK;
    context.fillRect(x, y, long, 4);
    context.font = `600 ${choice.sun ? 15 : 12}px system-ui, sans-serif`;
    context.textAlign = "left";
    context.textBaseline = "alphabetic";
    context.fillText(`${Number(told.toPrecision(3))} ${lengthUnit()}`, x, y - 5);
    canvas.dataset.bar = `${long} ${fromUnit(told)}`;
    inMetres(context);
  }

  function drawNorth() {
    const turn = (northAt(eye.east, eye.south) * Math.PI) / 180;
    inPixels(context);
    context.save();
    context.translate(size.wide - 26, 34);
    context.fillStyle = "rgba(255,255,255,.85)";
    context.beginPath();
    context.arc(0, 0, 21, 0, 2 * Math.PI);
    context.fill();
    context.rotate(turn);
    context.fillStyle = INK;
    context.beginPath();
    context.moveTo(0, -17);
    context.lineTo(6, 4);
    context.lineTo(0, 0);
    context.lineTo(-6, 4);
    context.fill();
    context.font = "700 12px system-ui, sans-serif";
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.fillText("N", 0, 12);
    context.restore();
    inMetres(context);
  }

  return { drawScaleBar, drawNorth };
}
