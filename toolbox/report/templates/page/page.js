// The page: reads the data, makes the parts, and hands on what the reader chooses.

function drawLegend(grids, map) {
  const name = choice.shade;
  const grid = grids[name];
  const least = name === "depth" ? Math.min(0, grid.least) : 0;
  const most = name === "depth" ? grid.most : grid.shown;
  const bar = byId("ramp");
  bar.style.background = `linear-gradient(to right, ${data.ramps[name].join(",")})`;
  const toUnit = name === "slope" ? (value) => value : inUnit;
  const unit = name === "slope" ? (grid.unit === "percent" ? "%" : "\u00b0") : lengthUnit();
  const along = ticks(toUnit(least), toUnit(most), 5);
  byId("ramp-ticks").replaceChildren(
    ...along.made.filter((_, i) => i % Math.ceil(along.made.length / 6) === 0).map((value) => {
      const tick = element("span", {}, number(value, along.digits));
      tick.style.left = `${(100 * (value - toUnit(least))) / (toUnit(most) - toUnit(least) || 1)}%`;
      return tick;
    })
  );
  const title = { depth: "depth below the datum", sd: "standard deviation of the depth", slope: "slope of the bed" }[name];
  byId("ramp-title").textContent = `${title}, ${unit}`;
}

function listenToChoices(grids, map) {
  document.querySelectorAll("input[name=units]").forEach((input) =>
    input.addEventListener("change", () => {
      if (!input.checked) return;
      choice.units = input.value;
      document.body.dataset.units = input.value;
      changed("units");
    })
  );
  document.querySelectorAll("input[data-layer]").forEach((input) => {
    choice.on[input.dataset.layer] = input.checked;
    input.addEventListener("change", () => {
      choice.on[input.dataset.layer] = input.checked;
      changed(input.dataset.layer === "relief" ? "shade" : "layers");
    });
  });
  document.querySelectorAll("input[name=shade]").forEach((input) =>
    input.addEventListener("change", () => {
      if (!input.checked) return;
      choice.shade = input.value;
      changed("shade");
    })
  );
  byId("sun").addEventListener("click", () => {
    choice.sun = !choice.sun;
    byId("sun").setAttribute("aria-pressed", String(choice.sun));
    document.body.classList.toggle("sunny", choice.sun);
    changed("units");
  });
  document.querySelectorAll("button[data-mark]").forEach((button) =>
    button.addEventListener("click", () => {
      map.goTo(Number(button.dataset.easting) - data.west, data.north - Number(button.dataset.northing));
      byId("map").focus({ preventScroll: true });
      byId("map-part").scrollIntoView({ block: "start" });
    })
  );
  watch((what) => {
    if (["shade", "units", "all"].includes(what)) drawLegend(grids, map);
  });
}

const LAYERS = ["zones", "plants", "exclusions", "features", "isobaths", "course", "plan", "marks", "pegs"];

async function start() {
  const grids = {};
  for (const [name, pack] of Object.entries(data.grids)) grids[name] = await unpackGrid(pack);
  const water = await readShapes(data.water);
  const shapes = {};
  for (const name of LAYERS) if (data.shapes[name]) shapes[name] = await readShapes(data.shapes[name]);
  document.querySelectorAll("input[data-layer]").forEach((input) => (choice.on[input.dataset.layer] = input.checked));
  const map = makeMap(grids, shapes, water, await readSoundings());
  makeSection(grids, map);
  makeLevels();
  makeBed(grids, map);
  listenToChoices(grids, map);
  changed("all");
  document.body.dataset.ready = "yes";
}

async function readSoundings() {
  const told = data.soundings;
  if (!told) return null;
  const [east, south, depth, source, reason] = await Promise.all(
    [told.east, told.south, told.depth, told.source, told.reason].map(unpack)
  );
  return { ...told, n: east.length, east, south, depth, source, reason, deep: await unpackBits(told.deep) };
}

start().catch((fault) => {
  byId("fault").hidden = false;
  byId("fault").append(` (${fault.message})`);
  console.error(fault);
});
