// The water: its colours, what is dry or not surveyed, isobaths and their numbers.

function makeWater(pen, pictures, shapes, water) {
  const { context, eye, size, toScreen, inMetres, inPixels, drawPicture, stroke, cased, sheet } = pen;
  const { grids, shares, shown } = pictures;
  const depth = grids.depth;
  const isobaths = grouped(shapes.isobaths || []);
  const outline = new Path2D();
  water.forEach((part) => outline.addPath(part.path));
  let numbers = { scale: 0, made: [] };

  function drawWater() {
    context.save();
    context.clip(outline, "evenodd");
    if (choice.on.zones && shapes.zones) {
      shapes.zones.forEach((zone) => {
        const deep = zone.row.to_m === null || zone.row.to_m === undefined ? depth.most : zone.row.to_m;
        const from = zone.row.from_m || 0;
        context.fillStyle = css(rampColour("depth", shares.depth((from + Math.min(deep, depth.most)) / 2)));
        context.fill(zone.path, "evenodd");
        stroke(zone.path, context.fillStyle, 0.7);
      });
    } else if (choice.on.shading) {
      drawPicture(context, shown.shading, grids[choice.shade]);
    } else {
      context.fillStyle = "#e3f0f3";
      context.fill(outline, "evenodd");
    }
    if (shown.dry) drawPicture(context, shown.dry, depth);
    if (choice.on.unsurveyed && shown.veil) drawVeil();
    context.restore();
    if (shown.edge) cased(shown.edge, "#0b4f8a", 2);
  }

  function drawVeil() {
    sheet((ctx) => {
      inMetres(ctx);
      drawPicture(ctx, shown.veil, grids.unsurveyed);
      inPixels(ctx);
      ctx.globalCompositeOperation = "source-in";
      ctx.fillStyle = "rgba(255,255,255,.55)";
      ctx.fillRect(0, 0, size.wide, size.high);
      ctx.globalCompositeOperation = "source-atop";
      ctx.strokeStyle = INK;
      ctx.lineWidth = 1;
      ctx.beginPath();
      for (let x = -size.high; x < size.wide; x += 7) {
        ctx.moveTo(x, size.high);
        ctx.lineTo(x + size.high, 0);
      }
      ctx.stroke();
    });
  }

  const beneath = (value) =>
    !choice.on.shading && !choice.on.zones ? [227, 240, 243]
      : choice.shade === "depth" || choice.on.zones ? rampColour("depth", shares.depth(value)) : [240, 225, 215];

  function drawIsobaths() {
    isobaths.forEach((group) => {
      context.globalAlpha = 0.85;
      stroke(group.path, readable(beneath(group.depth)), group.heavy ? 1.5 : 0.75);
      context.globalAlpha = 1;
    });
  }

  // Where numbers stand along isobaths, for this scale; panning moves them with the map.
  function placeNumbers() {
    if (numbers.scale === eye.scale && numbers.sun === choice.sun) return numbers.made;
    const made = [];
    const taken = new Set();
    const room = choice.sun ? 44 : 34;
    [...isobaths].sort((a, b) => Number(b.heavy) - Number(a.heavy)).forEach((group) => {
      group.lines.forEach((line) => {
        let next = 60;
        let gone = 0;
        for (let i = 2; i < line.length; i += 2) {
          const dx = line[i] - line[i - 2];
          const dy = line[i + 1] - line[i - 1];
          const long = Math.hypot(dx, dy) * eye.scale;
          for (; next <= gone + long; next += 40) {
            const share = (next - gone) / long;
            const at = [line[i - 2] + share * dx, line[i - 1] + share * dy];
            const key = [Math.round((at[0] * eye.scale) / room), Math.round((at[1] * eye.scale) / room)];
            const around = [-1, 0, 1].some((r) => [-1, 0, 1].some((c) => taken.has(`${key[0] + r} ${key[1] + c}`)));
            if (around) continue;
            taken.add(key.join(" "));
            let turn = Math.atan2(dy, dx);
            if (turn > Math.PI / 2 || turn <= -Math.PI / 2) turn += Math.PI;
            made.push({ at, turn, depth: group.depth });
            next += 190;
          }
          gone += long;
        }
      });
    });
    numbers = { scale: eye.scale, sun: choice.sun, made };
    return made;
  }

  function drawNumbers() {
    inPixels(context);
    context.font = `${choice.sun ? "700 14" : "600 11"}px system-ui, sans-serif`;
    context.textAlign = "center";
    context.textBaseline = "middle";
    placeNumbers().forEach(({ at, turn, depth: value }) => {
      const [x, y] = toScreen(...at);
      if (x < -20 || y < -20 || x > size.wide + 20 || y > size.high + 20) return;
      const colour = beneath(value);
      const told = isUs() ? number(feet(value), 1) : String(Number(value.toFixed(3)));
      context.save();
      context.translate(x, y);
      context.rotate(turn);
      context.lineWidth = 3.5;
      context.lineJoin = "round";
      context.strokeStyle = css(colour);
      context.strokeText(told, 0, 0);
      context.fillStyle = readable(colour);
      context.fillText(told, 0, 0);
      context.restore();
    });
    inMetres(context);
  }

  return { drawWater, drawIsobaths, drawNumbers, drawShore: () => stroke(outline, INK, 1.5) };
}
