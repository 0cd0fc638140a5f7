"use strict";
(function () {
  const byId = (name) => document.getElementById(name);
  let dirty = false;
  let stage = "";

  function say(text, failed) {
    byId(failed ? "alert" : "live").textContent = text;
    if (failed) {
      byId("alert").hidden = false;
      byId("alert").scrollIntoView({ block: "nearest" });
    }
  }

  async function send(form, submitter, given) {
    const data = given || new FormData(form, submitter);
    const coded = form.enctype === "multipart/form-data" ? data : new URLSearchParams(data);
    byId("main").setAttribute("aria-busy", "true");
    byId("alert").hidden = true;
    try {
      const answer = await fetch(form.getAttribute("action"), { method: "POST", body: coded });
      const text = await answer.text();
      if (answer.ok) show(text, true);
      else say(text, true);
    } catch (error) {
      say("The desk does not answer: is it closed?", true);
    }
    byId("main").removeAttribute("aria-busy");
  }

  /* Put the main part of a page in place of the present one; focus goes to what is new. */
  function show(text, lead) {
    const fresh = new DOMParser().parseFromString(text, "text/html");
    const main = byId("main");
    const held = document.activeElement && main.contains(document.activeElement) ? document.activeElement.id : "";
    const open = [...main.querySelectorAll("details[open] > summary")].map((part) => part.textContent);
    const doing = main.dataset.doing;
    main.replaceWith(document.adoptNode(fresh.getElementById("main")));
    document.title = fresh.title;
    dirty = false;
    for (const part of byId("main").querySelectorAll("details > summary"))
      if (open.includes(part.textContent)) part.parentNode.open = true;
    const now = byId("main").dataset.doing;
    if (lead || doing !== now) {
      const title = byId("wait-title") || (doing === "run" && byId("results-title")) || byId("seen-title") || byId("files-title");
      if (title) title.focus({ preventScroll: !title.matches("#wait-title, #results-title") });
      const told = document.querySelector("main > .fault");
      say(told ? told.textContent : now ? "" : title && title.id === "results-title" ? "The run is done." : "The files are read.");
    } else if (held && byId(held)) byId(held).focus({ preventScroll: true });
    draw();
  }

  async function poll() {
    let wait = 1000;
    try {
      const state = await (await fetch("/state")).json();
      const main = byId("main");
      if (state.doing) wait = 300;
      if (state.doing && byId("stage")) {
        byId("stage").textContent = state.stage;
        byId("seconds").textContent = state.seconds;
        if (state.stage !== stage) mark(state.stage);
      }
      if (String(state.version) !== main.dataset.version) {
        if (!dirty) show(await (await fetch("/")).text(), false);
        else say("Something was changed in another window: reload this page to see it.", true);
      }
    } catch (error) {
      wait = 3000;
    }
    setTimeout(poll, wait);
  }

  function mark(now) {
    stage = now;
    say("Now: " + now);
    const items = [...document.querySelectorAll(".stages li")];
    items.forEach((item, number) => {
      item.removeAttribute("aria-current");
      if (item.textContent === now) {
        item.setAttribute("aria-current", "step");
        byId("bar").value = number;
      }
    });
  }

  function roundLength(most) {
    const power = Math.pow(10, Math.floor(Math.log10(most)));
    return [5, 2, 1].find((step) => step * power <= most) * power;
  }

  async function draw() {
    const canvas = byId("chart");
    if (!canvas) return;
    const told = await (await fetch("/chart")).json();
    if (!told.size || !canvas.isConnected) return;
    const ratio = window.devicePixelRatio || 1;
    const wide = canvas.clientWidth, high = canvas.clientHeight, edge = 14;
    canvas.width = wide * ratio;
    canvas.height = high * ratio;
    const pen = canvas.getContext("2d");
    const scale = Math.min((wide - 2 * edge) / told.size[0], (high - 2 * edge) / told.size[1]);
    const left = (wide - told.size[0] * scale) / 2, top = (high - told.size[1] * scale) / 2;
    pen.scale(ratio, ratio);
    const x = (value) => left + value * scale, y = (value) => top + value * scale;
    pen.beginPath();
    for (const ring of told.rings) {
      pen.moveTo(x(ring[0]), y(ring[1]));
      for (let k = 2; k < ring.length; k += 2) pen.lineTo(x(ring[k]), y(ring[k + 1]));
      pen.closePath();
    }
    pen.fillStyle = "#fff";
    pen.fill("evenodd");
    pen.strokeStyle = "#16242e";
    pen.lineWidth = 1.4;
    pen.stroke();
    const count = told.points.length / 3;
    const size = Math.max(1.6, Math.min(5, 1.2 * Math.sqrt((wide * high) / Math.max(count, 1)) / 4));
    for (let k = 0; k < told.points.length; k += 3) {
      const share = told.points[k + 2], px = x(told.points[k]), py = y(told.points[k + 1]);
      if (share === -2) {
        pen.strokeStyle = "#7a2114";
        pen.strokeRect(px - 0.5, py - 3, 1, 6);
        pen.strokeRect(px - 3, py - 0.5, 6, 1);
        continue;
      }
      pen.fillStyle = share < 0 ? "#5b6770" : told.colours[Math.min(Math.floor((share / 1000) * told.colours.length), told.colours.length - 1)];
      pen.fillRect(px - size / 2, py - size / 2, size, size);
    }
    const metres = roundLength(Math.max((told.metres / (told.size[0] * scale)) * wide * 0.3, 0.001));
    byId("scale").style.width = (metres / told.metres) * told.size[0] * scale + "px";
    byId("scale-length").textContent = metres >= 1000 ? metres / 1000 + " km" : metres + " m";
    const ramp = byId("ramp").getContext("2d");
    told.colours.forEach((colour, k) => {
      ramp.fillStyle = colour;
      ramp.fillRect((k * 120) / told.colours.length, 0, 120 / told.colours.length + 1, 12);
    });
    canvas.dataset.drawn = count;
  }

  document.addEventListener("submit", (event) => {
    if (event.target.matches(".plain")) return;
    event.preventDefault();
    if (!byId("main").hasAttribute("aria-busy")) send(event.target, event.submitter);
  });
  document.addEventListener("input", (event) => {
    if (event.target.closest("#answers")) dirty = true;
  });
  document.addEventListener("change", (event) => {
    if (event.target.id === "file" && event.target.files.length) send(event.target.form);
  });
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    byId("drop").classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) byId("drop").classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    byId("drop").classList.remove("over");
    const data = new FormData();
    for (const file of event.dataTransfer.files) data.append("file", file);
    if (event.dataTransfer.files.length) send(byId("drop"), null, data);
  });
  window.addEventListener("resize", draw);
  draw();
  poll();
})();
