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
  const shade = ({ target: each }) => {
    each.parentElement.classList.toggle("beyond", each.scrollLeft + each.clientWidth < each.scrollWidth - 1);
    each.parentElement.classList.toggle("before", each.scrollLeft > 1);
  };
  const reachable = () => scrolls.forEach((each) => {
    if (each.scrollWidth > each.clientWidth + 1) each.tabIndex = 0;
    else each.removeAttribute("tabindex");
    shade({ target: each });
  });
  scrolls.forEach((each) => each.addEventListener("scroll", shade, { passive: true }));
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

  /* The camera goes round the axis, within heights from which the curtain is seen, and as near as shows all labels. */
  const scene = figure.layout.scene;
  const first = scene.camera;
  const RADIAN = Math.PI / 180;
  const LOWEST = -12 * RADIAN;
  const HIGHEST = 55 * RADIAN;
  const [NEAREST, FARTHEST] = [0.5, 2];
  /* Half of plotly's angle of view, and what a label needs to the sides and above [pixels]. */
  const VIEW = Math.tan(Math.PI / 8);
  const [BESIDE, ABOVE] = [24, 14];
  const atStart = () => ({
    side: Math.atan2(first.eye.y, first.eye.x),
    height: Math.atan2(first.eye.z, Math.hypot(first.eye.x, first.eye.y)),
    far: 1,
  });
  const size = scene.aspectratio.x / (scene.xaxis.range[1] - scene.xaxis.range[0]);
  const middle = (scene.zaxis.range[0] + scene.zaxis.range[1]) / 2;
  const between = (low, value, high) => Math.max(low, Math.min(high, value));
  const seen = atStart();
  let view = null;
  /* Where a point stands in the view [pixels], seen from a side and height, so far away and aimed so high. */
  const project = (x, y, z, { side, height, distance, aim }, [wide, high]) => {
    const [sin, cos] = [Math.sin(side), Math.cos(side)];
    const [toward, up] = [size * (x * cos + y * sin), size * (z - middle) - aim];
    const depth = distance - toward * Math.cos(height) - up * Math.sin(height);
    const scale = high / 2 / VIEW / depth;
    const across = size * (y * cos - x * sin) * scale;
    const down = (toward * Math.sin(height) - up * Math.cos(height)) * scale;
    return { x: wide / 2 + across, y: high / 2 + down, depth };
  };
  const edges = moving.rings.labels.concat(moving.rings.corners).flatMap(([radius, z], ring) =>
    Array.from({ length: 24 }, (_, step) => ({
      x: radius * Math.cos(step * 15 * RADIAN),
      y: radius * Math.sin(step * 15 * RADIAN),
      z,
      label: ring < moving.rings.labels.length,
    })));
  const fitted = (height, box) => {
    let [near, distant, aim] = [0.9, 12, 0];
    for (let step = 0; step < 28; step += 1) {
      const distance = (near + distant) / 2;
      let [most, top, bottom] = [0, Infinity, -Infinity];
      edges.forEach(({ x, y, z, label }) => {
        const at = project(x, y, z, { side: 0, height, distance, aim }, box);
        most = Math.max(most, Math.abs(at.x - box[0] / 2) + (label ? BESIDE : 4));
        top = Math.min(top, at.y - (label ? ABOVE : 4));
        bottom = Math.max(bottom, at.y + (label ? ABOVE : 4));
      });
      if (most <= box[0] / 2 && bottom - top <= box[1]) distant = distance;
      else near = distance;
      /* What is shown stands in the middle between top and bottom. */
      aim -= ((bottom + top - box[1]) / box[1]) * VIEW * distance / Math.cos(height);
    }
    return { distance: distant, aim };
  };
  const cameraNow = () => {
    const box = [stage.clientWidth, stage.clientHeight];
    const { distance, aim } = fitted(seen.height, box);
    view = { ...seen, distance: distance * seen.far, aim, box };
    const flat = view.distance * Math.cos(seen.height);
    return {
      ...first,
      eye: { x: flat * Math.cos(seen.side), y: flat * Math.sin(seen.side), z: aim + view.distance * Math.sin(seen.height) },
      center: { x: 0, y: 0, z: aim },
    };
  };
  /* Labels lie over the view, the pointer's first and then the nearest; one that is hidden, or would be cut or lie on
     another, is left out. */
  const labels = moving.labels.text.map((words) => draw("text", find("labels"), { "text-anchor": "middle", visibility: "hidden" }, words));
  /* Whether the head, whose half of y above zero is shown, or the near side of the curtain stands before a point. */
  const isHidden = (x, y, z) => {
    const [inner, outer, low, high] = moving.rings.head;
    const [within, without] = moving.rings.curtain;
    const flat = (view.distance / size) * Math.cos(view.height);
    const goal = [flat * Math.cos(view.side), flat * Math.sin(view.side), middle + view.aim / size + (view.distance / size) * Math.sin(view.height)];
    const way = goal.map((each, axis) => each - [x, y, z][axis]);
    const step = (0.03 * within) / Math.hypot(...way);
    for (let part = step; part < 1; part += step) {
      const at = [x + part * way[0], y + part * way[1], z + part * way[2]];
      const radius = Math.hypot(at[0], at[1]);
      const isNear = at[0] * goal[0] + at[1] * goal[1] > 0;
      if (at[1] > 0 && radius > inner && radius < outer && at[2] > low && at[2] < high) return true;
      if (isNear && radius > within && radius < without && at[2] > lifts[now.lift].shift && at[2] < low) return true;
      if (isNear && radius > moving.rings.labels[0][0]) return false;
    }
    return false;
  };
  const placeLabels = () => {
    const taken = [];
    labels
      .map((label, index) => {
        const place = [moving.labels.x[index], moving.labels.y[index], moving.labels.z[index]];
        return { label, index, hidden: isHidden(...place), ...project(...place, view, view.box) };
      })
      .sort((one, other) => (one.index && other.index ? one.depth - other.depth : one.index - other.index))
      .forEach(({ label, hidden, x, y, depth }) => {
        const half = label.getComputedTextLength() / 2 + 2;
        const box = [x - half, y - 9, x + half, y + 9];
        const inside = depth > 0 && box[0] >= 0 && box[1] >= 0 && box[2] <= view.box[0] && box[3] <= view.box[1];
        const free = taken.every((each) => box[2] < each[0] || box[0] > each[2] || box[3] < each[1] || box[1] > each[3]);
        const shown = !hidden && inside && free;
        if (shown) taken.push(box);
        label.setAttribute("visibility", shown ? "visible" : "hidden");
        label.setAttribute("class", depth > view.distance ? "behind" : "");
        label.setAttribute("x", x.toFixed(1));
        label.setAttribute("y", (y + 4.5).toFixed(1));
      });
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
    };
    return figure.data.map((each) => ({ ...each, ...changes[each.name] }));
  };
  const layout = () => {
    const { font, label } = theme();
    return { ...(stage.layout || figure.layout), font, hoverlabel: label };
  };
  const showView = (at) => {
    if (!turns || !view) return undefined;
    placeLabels();
    return Plotly.react(stage, traces(at), layout(), config);
  };

  /* Turning: by the buttons, by the mouse, and by a thumb that goes sideways; up and down it scrolls the page. */
  const turnTo = (changes) => {
    Object.assign(seen, changes);
    seen.height = between(LOWEST, seen.height, HIGHEST);
    seen.far = between(NEAREST, seen.far, FARTHEST);
    if (!turns || !stage.clientWidth) return;
    Plotly.relayout(stage, { "scene.camera": cameraNow() });
    placeLabels();
    ends.forEach(([name, ended]) => buttons[name].setAttribute("aria-disabled", String(ended())));
  };
  const buttons = Object.fromEntries([...document.querySelectorAll("[data-turn]")].map((each) => [each.dataset.turn, each]));
  const ends = [
    ["up", () => seen.height > HIGHEST - 1e-6],
    ["down", () => seen.height < LOWEST + 1e-6],
    ["closer", () => seen.far < NEAREST + 1e-6],
    ["farther", () => seen.far > FARTHEST - 1e-6],
  ];
  const TURNS = {
    left: () => ({ side: seen.side + 15 * RADIAN }),
    right: () => ({ side: seen.side - 15 * RADIAN }),
    up: () => ({ height: seen.height + 10 * RADIAN }),
    down: () => ({ height: seen.height - 10 * RADIAN }),
    closer: () => ({ far: seen.far / 1.2 }),
    farther: () => ({ far: seen.far * 1.2 }),
    start: atStart,
  };
  Object.entries(buttons).forEach(([name, button]) => button.addEventListener("click", () => turnTo(TURNS[name]())));
  let drag = null;
  let moved = false;
  stage.addEventListener("pointerdown", (event) => {
    if (event.isPrimary && event.button === 0) drag = { ...seen, x: event.clientX, y: event.clientY, going: false };
  });
  stage.addEventListener("pointermove", (event) => {
    /* A button that was let go elsewhere turns nothing more. */
    if (event.buttons === 0) drag = null;
    if (!drag || !event.isPrimary) return;
    const [across, down] = [event.clientX - drag.x, event.clientY - drag.y];
    const isTouch = event.pointerType === "touch";
    if (!drag.going && Math.hypot(across, down) < (isTouch ? 8 : 4)) return;
    if (!drag.going && isTouch && Math.abs(down) > Math.abs(across)) {
      /* The page scrolls. */
      drag = null;
      return;
    }
    if (!drag.going) stage.setPointerCapture(event.pointerId);
    drag.going = true;
    drag.goal = {
      side: drag.side - (across * Math.PI) / stage.clientWidth,
      height: drag.height + (isTouch ? 0 : (down * Math.PI) / 2 / stage.clientHeight),
    };
    if (moved) return;
    moved = true;
    const turning = drag;
    requestAnimationFrame(() => {
      moved = false;
      turnTo(turning.goal);
    });
  });
  ["pointerup", "pointercancel"].forEach((name) => stage.addEventListener(name, () => { drag = null; }));
  /* plotly's own answer to a touch would stop the page from scrolling. */
  ["touchstart", "touchmove"].forEach((name) => {
    stage.addEventListener(name, (event) => event.stopPropagation(), { capture: true, passive: true });
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
        scene.camera = cameraNow();
        return Plotly.newPlot(stage, traces(known()), layout(), config);
      })
      .then(() => {
        /* plotly measures words here; there is nothing to see or hear. */
        find("js-plotly-tester")?.setAttribute("aria-hidden", "true");
        stage.addEventListener("webglcontextlost", withoutView, true);
        placeLabels();
        new ResizeObserver(() => turnTo({})).observe(stage);
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
