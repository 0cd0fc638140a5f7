// Hands: mouse, fingers and keys upon the map.

function listenToHands(map, pen) {
  const { canvas, eye, size, toPlace } = pen;
  const fingers = new Map();
  let moved = 0;
  let gap = 0;
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, at(event));
    if (fingers.size === 1) moved = 0;
    gap = 0;
  });
  canvas.addEventListener("pointermove", (event) => {
    const now = at(event);
    const before = fingers.get(event.pointerId);
    if (!before) {
      map.showPlace(null);
      map.read(...now, false);
      return;
    }
    if (fingers.size === 1) {
      moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
      if (moved > 5) map.pan(now[0] - before[0], now[1] - before[1]);
      else return;
    }
    fingers.set(event.pointerId, now);
    if (fingers.size === 2) {
      const [a, b] = [...fingers.values()];
      const apart = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (gap) map.zoom(apart / gap, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
      gap = apart;
      moved = 100;
    }
  });
  const lifted = (event) => {
    if (!fingers.delete(event.pointerId) || event.type === "pointercancel") return;
    gap = 0;
    if (moved > 5 || fingers.size) return;
    const now = at(event);
    const place = toPlace(...now);
    map.read(...now, true);
    map.showPlace(event.pointerType === "mouse" || choice.picking ? null : place);
    if (choice.picking) map.pick(place);
  };
  canvas.addEventListener("pointerup", lifted);
  canvas.addEventListener("pointercancel", lifted);
  canvas.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && document.activeElement !== canvas) return; // let the page scroll
    event.preventDefault();
    map.zoom(Math.exp(-event.deltaY / (event.ctrlKey ? 120 : 400)), ...at(event));
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    const steps = { ArrowLeft: [30, 0], ArrowRight: [-30, 0], ArrowUp: [0, 30], ArrowDown: [0, -30] };
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (steps[event.key]) map.pan(...steps[event.key]);
    else if (event.key === "+" || event.key === "=") map.zoom(1.4);
    else if (event.key === "-") map.zoom(1 / 1.4);
    else if (event.key === "0") map.showAll();
    else if (event.key === "Escape" && choice.picking) map.letGo();
    else if (event.key === "Enter" || event.key === " ") {
      if (choice.picking) map.pick([eye.east, eye.south]);
    } else return;
    event.preventDefault();
    map.read(size.wide / 2, size.high / 2, true);
    map.showPlace([eye.east, eye.south]);
  });
  byId("zoom-in").addEventListener("click", () => map.zoom(1.5));
  byId("zoom-out").addEventListener("click", () => map.zoom(1 / 1.5));
  byId("zoom-all").addEventListener("click", map.showAll);
}
