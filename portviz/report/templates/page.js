/* What makes a report's page follow run and lift. It shows what was worked out before: no number is found here but
   those of the interpolated colours, which are read from the same arrays. */
"use strict";
(() => {
  const root = document.documentElement;
  const find = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";

  /* Long lists of evidence and further tables are folded on a screen, and open on paper. */
  const folds = [...document.querySelectorAll("details")];
  const fold = (open) => folds.forEach((each) => { each.open = open; });
  fold(false);
  addEventListener("beforeprint", () => fold(true));
  addEventListener("afterprint", () => fold(false));

  /* What is wider than the page can be scrolled with the keyboard too. */
  const scrolls = [...document.querySelectorAll(".scroll")];
  const reachable = () => scrolls.forEach((each) => {
    if (each.scrollWidth > each.clientWidth + 1) each.tabIndex = 0;
    else each.removeAttribute("tabindex");
  });
  addEventListener("resize", reachable);
  folds.forEach((each) => each.addEventListener("toggle", reachable));

  /* Arrays come as their bytes. */
  const KINDS = { f4: Float32Array, u2: Uint16Array, u4: Uint32Array };
  const unpacked = (value) => {
    if (Array.isArray(value)) return value.map(unpacked);
    if (value === null || typeof value !== "object") return value;
    if (typeof value.bdata === "string") {
      const text = atob(value.bdata);
      const bytes = new Uint8Array(text.length);
      for (let place = 0; place < text.length; place += 1) bytes[place] = text.charCodeAt(place);
      return new KINDS[value.dtype](bytes.buffer);
    }
    return Object.fromEntries(Object.entries(value).map(([key, each]) => [key, unpacked(each)]));
  };
  const read = (id) => unpacked(JSON.parse(find(id).textContent));
  const moving = read("moving");
  const figure = read("figure");
  const { lifts, runs } = moving;
  const now = { run: 0, lift: moving.start };
  const known = (run = now.run) => runs[run].lifts[now.lift];

  /* Words and table. */
  const text = (name, words, parent) => {
    const element = document.createElement(name);
    element.textContent = words;
    parent.append(element);
    return element;
  };
  let saying = 0;
  const say = (at) => {
    /* A reader who hears the page is told once the slider rests. */
    clearTimeout(saying);
    saying = setTimeout(() => {
      const place = find("now");
      place.replaceChildren();
      text("p", `${runs[now.run].name}, lift ${lifts[now.lift].over}`, place);
      [...at.says, lifts[now.lift].passage].forEach((words) => text("p", words, place));
    }, 120);
  };
  const table = find("stations");
  const fill = (at) => {
    table.caption.textContent = `Stations of “${runs[now.run].name}” at ${lifts[now.lift].text}`;
    const body = table.tBodies[0];
    body.replaceChildren();
    at.rows.forEach((row) => {
      const line = text("tr", "", body);
      row.forEach((cell, place) => {
        if (place === 0) text("th", cell, line).scope = "row";
        else text("td", cell, line);
      });
    });
    if (!at.rows.length) {
      const cell = text("td", "not measured at this lift", text("tr", "", body));
      cell.colSpan = 3;
    }
  };

  /* The ring: velocity outward, stations anticlockwise as seen from the cylinder. */
  const REACH = 122;
  const bottom = Math.min(0, moving.low);
  const outward = (value) => (REACH * (value - bottom)) / (moving.high - bottom);
  const place = (angle, distance) => {
    const turn = (angle * Math.PI) / 180;
    return [distance * Math.cos(turn), -distance * Math.sin(turn)];
  };
  const draw = (name, parent, attributes, words) => {
    const element = document.createElementNS(SVG, name);
    Object.entries(attributes).forEach(([key, value]) => {
      element.setAttribute(key, typeof value === "number" ? value.toFixed(2) : value);
    });
    if (words !== undefined) element.textContent = words;
    parent.append(element);
    return element;
  };
  const ringSteps = () => {
    const size = 10 ** Math.floor(Math.log10((moving.high - bottom) / 2));
    const step = [1, 2, 2.5, 5, 10].map((each) => each * size).find((each) => (moving.high - bottom) / each <= 4.5);
    const found = [];
    for (let value = Math.ceil(bottom / step) * step; value <= moving.high * (1 + 1e-9); value += step) found.push(value);
    return found;
  };
  const steps = ringSteps();
  const outline = (values) => {
    const points = [];
    for (let column = 0; column < values.length; column += 2) {
      points.push(place((360 * column) / (values.length - 1), outward(values[column])).map((each) => each.toFixed(2)).join(" "));
    }
    return `M${points.join("L")}Z`;
  };
  const drawRing = (at) => {
    const drawing = find("ring-drawing");
    drawing.replaceChildren();
    steps.forEach((value) => {
      if (outward(value) > 1) draw("circle", drawing, { class: value === 0 ? "grid zero" : "grid", r: outward(value) });
    });
    [0, 90, 180, 270].forEach((angle) => {
      const [x, y] = place(angle, REACH + 2);
      draw("line", drawing, { class: "grid", x2: x, y2: y });
      const [left, down] = place(angle, REACH + 9);
      const anchor = angle === 0 ? "start" : angle === 180 ? "end" : "middle";
      draw("text", drawing, { class: "named", x: left, y: down + 4, "text-anchor": anchor }, `${angle}°`);
    });
    runs.forEach((_, run) => {
      const other = known(run);
      if (run !== now.run && other.values) draw("path", drawing, { class: "other", d: outline(other.values) });
    });
    const title = `${runs[now.run].name} at ${lifts[now.lift].text}`;
    if (!at.values) {
      draw("text", drawing, { y: 4, "text-anchor": "middle" }, "not measured at this lift");
      find("ring-title").textContent = `Velocities round the valve: ${title}, not measured`;
      return;
    }
    draw("path", drawing, { class: "between", d: outline(at.values) });
    at.ring.angle.forEach((angle, index) => {
      const value = at.ring.value[index];
      const half = at.ring.half[index];
      if (half !== null) {
        const ends = [value - half, value + half].map((each) => outward(each));
        const [[x1, y1], [x2, y2]] = ends.map((each) => place(angle, each));
        draw("line", drawing, { class: "interval", x1, y1, x2, y2 });
        const across = place(angle + 90, 3.4);
        ends.forEach((each) => {
          const [x, y] = place(angle, each);
          draw("line", drawing, { class: "interval", x1: x - across[0], y1: y - across[1], x2: x + across[0], y2: y + across[1] });
        });
      }
      const [cx, cy] = place(angle, outward(value));
      draw("circle", drawing, { class: "dot", cx, cy, r: 2.2 });
    });
    steps.filter((value) => outward(value) > 20).forEach((value) => {
      const [x, y] = place(75, outward(value));
      draw("text", drawing, { x, y: y + 4, "text-anchor": "middle" }, `${Number(value.toPrecision(6))}`);
    });
    draw("text", drawing, { x: 156, y: 144, "text-anchor": "end" }, `[${moving.unit}]`);
    find("ring-title").textContent = `Velocities round the valve: ${title}. ${at.says[at.says.length - 1]}`;
  };

  /* The turning view. */
  const stage = find("stage");
  const NAMES = figure.data.map((trace) => trace.name);
  const trace = (name) => NAMES.indexOf(name);
  const closed = figure.data[trace("valve")].z.map((each) => each - lifts[moving.start].shift);
  const rows = figure.data[trace("curtain")].x.length;
  const NONE = { x: [], y: [], z: [] };
  /* Balls at the stations, as large as the gap allows. */
  const balls = (at) => {
    if (!at.stations) return NONE;
    const found = {};
    const corners = moving.ball.x.length;
    const read = at.stations.x.length;
    "xyz".split("").forEach((axis) => {
      found[axis] = new Float32Array(corners * moving.stations);
      for (let station = 0; station < moving.stations; station += 1) {
        /* The faces are those of all stations: balls that are not there shrink to a point within the last. */
        const middle = at.stations[axis][Math.min(station, read - 1)];
        const size = station < read ? lifts[now.lift].ball : 0;
        moving.ball[axis].forEach((each, corner) => { found[axis][station * corners + corner] = middle + size * each; });
      }
    });
    return { ...found, hovertext: at.hover.flatMap((words) => new Array(corners).fill(words)) };
  };
  const camera = figure.layout.scene.camera;
  const first = JSON.parse(JSON.stringify(camera));
  const scaled = (eye, factor) => Object.fromEntries(Object.entries(eye).map(([key, each]) => [key, each * factor]));
  /* A narrow view is seen from farther away, so that nothing stands beyond its sides. */
  const eyeAtStart = () => {
    const narrow = Math.max(1, (1.3 * stage.clientHeight) / stage.clientWidth);
    return scaled(first.eye, narrow);
  };
  const config = { displayModeBar: false, scrollZoom: false, responsive: true, doubleClick: false, showTips: false };
  let turns = false;

  const theme = () => {
    const style = getComputedStyle(root);
    const colour = (name) => style.getPropertyValue(`--${name}`).trim();
    const font = { color: colour("ink"), family: "system-ui, sans-serif", size: 13 };
    return {
      font,
      jet: colour("jet"),
      pale: colour("pale"),
      label: { bgcolor: colour("paper"), bordercolor: colour("thin"), font, align: "left" },
    };
  };
  const isFar = (at, column) => Boolean(at.far) && Boolean(at.far[column >> 3] & (128 >> (column & 7)));
  const curtainWords = (at, columns, across) => {
    const words = new Array(columns * across);
    for (let column = 0; column < columns; column += 1) {
      const angle = (360 * column) / (columns - 1);
      const far = isFar(at, column) ? "<br>more than 30° from a reading" : "";
      const said = `${Math.round(angle) % 360}°: interpolated<br>${at.values[column].toFixed(moving.decimals)} ${moving.unit}${far}`;
      words.fill(said, column * across, (column + 1) * across);
    }
    return words;
  };
  const curtainNow = (at) => {
    if (!at.values) {
      return { intensity: new Float32Array(rows), colorscale: [[0, moving.noData], [1, moving.noData]], hovertext: "not measured at this lift" };
    }
    const columns = at.values.length;
    const across = rows / columns;
    const intensity = new Float32Array(rows);
    for (let column = 0; column < columns; column += 1) intensity.fill(at.values[column], column * across, (column + 1) * across);
    return { intensity, colorscale: moving.colours, hovertext: curtainWords(at, columns, across) };
  };
  const traces = (at) => {
    const lift = lifts[now.lift];
    const { font, jet, pale } = theme();
    const changes = {
      valve: { z: closed.map((each) => each + lift.shift) },
      curtain: { ...lift.curtain, ...curtainNow(at) },
      hatching: at.hatching || NONE,
      arrows: { ...(at.arrows || NONE), color: jet, visible: Boolean(at.arrows) },
      "pale arrows": { ...(at.paleArrows || NONE), color: pale, visible: Boolean(at.paleArrows) },
      stations: { ...balls(at), visible: Boolean(at.stations) },
      "narrowest passage": lift.least,
      labels: { textfont: { ...font } },
    };
    return figure.data.map((each) => ({ ...each, ...changes[each.name] }));
  };
  const layout = () => {
    const { font, label } = theme();
    return { ...(stage.layout || figure.layout), font, hoverlabel: label };
  };
  const showView = (at) => (turns ? Plotly.react(stage, traces(at), layout(), config) : undefined);

  /* One step of the view's buttons. */
  const turned = ({ x, y, z }, around, over) => {
    const distance = Math.hypot(x, y, z);
    const side = Math.atan2(y, x) + around;
    const height = Math.max(-1.5, Math.min(1.5, Math.asin(z / distance) + over));
    return {
      x: distance * Math.cos(height) * Math.cos(side),
      y: distance * Math.cos(height) * Math.sin(side),
      z: distance * Math.sin(height),
    };
  };
  const TURNS = {
    left: (eye) => turned(eye, Math.PI / 12, 0),
    right: (eye) => turned(eye, -Math.PI / 12, 0),
    up: (eye) => turned(eye, 0, Math.PI / 18),
    down: (eye) => turned(eye, 0, -Math.PI / 18),
    closer: (eye) => scaled(eye, 1 / 1.2),
    farther: (eye) => scaled(eye, 1.2),
    start: eyeAtStart,
  };
  document.querySelectorAll("[data-turn]").forEach((button) => {
    button.addEventListener("click", () => {
      const { eye } = stage.layout.scene.camera;
      Plotly.relayout(stage, { "scene.camera": { ...first, eye: TURNS[button.dataset.turn](eye) } });
    });
  });

  /* All of it at once. */
  const slider = find("lift");
  const output = find("lift-now");
  let waiting = false;
  const show = () => {
    waiting = false;
    const at = known();
    const { text: lift } = lifts[now.lift];
    output.textContent = lift;
    output.classList.toggle("absent", !at.values);
    slider.setAttribute("aria-valuetext", at.values ? lift : `${lift}, not measured in this run`);
    fill(at);
    drawRing(at);
    say(at);
    return showView(at);
  };
  const soon = () => {
    if (!waiting) requestAnimationFrame(show);
    waiting = true;
  };
  slider.addEventListener("input", () => {
    now.lift = Number(slider.value);
    soon();
  });
  document.querySelectorAll("input[name=run]").forEach((button) => {
    button.addEventListener("change", () => {
      now.run = Number(button.value);
      soon();
    });
    /* Some browsers keep what was chosen when a page is loaded again. */
    if (button.checked) now.run = Number(button.value);
  });
  now.lift = Number(slider.value);

  const hasView = () => {
    try {
      const context = document.createElement("canvas").getContext("webgl");
      context.getExtension("WEBGL_lose_context")?.loseContext();
      return true;
    } catch {
      return false;
    }
  };
  const withoutView = () => {
    turns = false;
    root.classList.remove("view-turns");
    find("no-view").hidden = false;
  };
  root.classList.add("runs-live");
  show();
  if (hasView()) {
    turns = true;
    root.classList.add("view-turns");
    Promise.resolve()
      .then(() => {
        camera.eye = eyeAtStart();
        return Plotly.newPlot(stage, traces(known()), layout(), config);
      })
      .then(() => {
        /* plotly measures words here; there is nothing to see or hear. */
        find("js-plotly-tester")?.setAttribute("aria-hidden", "true");
        stage.addEventListener("webglcontextlost", withoutView, true);
        matchMedia("(prefers-color-scheme: dark)").addEventListener("change", soon);
        root.classList.add("ready");
      })
      .catch(withoutView);
  } else {
    withoutView();
    root.classList.add("ready");
  }
  reachable();
})();
