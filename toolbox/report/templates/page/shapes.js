// Shapes as paths in metres of the page, east and south of its corner.

function pathsOf(layer, east, south) {
  const made = [];
  let ring = 0;
  let at = 0;
  layer.kind.forEach((kind, part) => {
    const path = new Path2D();
    const lines = [];
    for (let r = 0; r < layer.rings[part]; r++, ring++) {
      const line = new Float64Array(2 * layer.sizes[ring]);
      for (let i = 0; i < layer.sizes[ring]; i++, at++) {
        line[2 * i] = east[at] * layer.step;
        line[2 * i + 1] = south[at] * layer.step;
        if (i) path.lineTo(line[2 * i], line[2 * i + 1]);
        else path.moveTo(line[0], line[1]);
      }
      if (kind === 2) path.closePath();
      lines.push(line);
    }
    made.push({ kind, path, lines, row: layer.rows[layer.row[part]] || {} });
  });
  return made;
}

async function readShapes(layer) {
  return pathsOf(layer, await unpack(layer.east), await unpack(layer.south));
}

// Least and greatest east and south of some shapes.
function endsOf(shapes) {
  const ends = [Infinity, Infinity, -Infinity, -Infinity];
  shapes.forEach((part) =>
    part.lines.forEach((line) => {
      for (let i = 0; i < line.length; i += 2) {
        ends[0] = Math.min(ends[0], line[i]);
        ends[1] = Math.min(ends[1], line[i + 1]);
        ends[2] = Math.max(ends[2], line[i]);
        ends[3] = Math.max(ends[3], line[i + 1]);
      }
    })
  );
  return ends;
}

// Lines of one depth together.
function grouped(lines) {
  const groups = new Map();
  lines.forEach((line) => {
    const key = `${line.row.depth_m}`;
    if (!groups.has(key)) {
      groups.set(key, { depth: line.row.depth_m, heavy: line.row.index_line, path: new Path2D(), lines: [] });
    }
    groups.get(key).path.addPath(line.path);
    groups.get(key).lines.push(...line.lines);
  });
  return [...groups.values()];
}

// A place by which to name a shape.
function middleOf(shape) {
  const line = shape.lines[0];
  if (shape.kind !== 2) {
    const at = 2 * Math.floor(line.length / 4);
    return [line[at], line[at + 1]];
  }
  let [east, south] = [0, 0];
  for (let i = 0; i < line.length; i += 2) {
    east += line[i];
    south += line[i + 1];
  }
  return [(2 * east) / line.length, (2 * south) / line.length];
}
