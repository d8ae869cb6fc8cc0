// What a receiver sees: all directions on one equal-area disc, coloured by loss.
//
//   const map = mountSky(element, sky, scene, options)
//
// `sky` is the JSON of viewer/sky.py, `scene` that of viewer/wire.py. `element` must be square.
// options: plan (index), receiver (index), describe(panel) → [title, line, …] or null,
// onPick(id|null), onHover(id|null). Needs no WebGL.
import { cividis, describe, panelName, percent, placeOn, shown } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const R = 50; // of the disc, in the drawing's own units
const BLOCKED = 254;
const NOTHING = 255;
const HATCH = 7;

/** Values of a run-length code. */
export function expanded(code) {
  const values = [];
  for (let k = 0; k < code.length; k += 2) for (let n = code[k + 1]; n > 0; n--) values.push(code[k]);
  return values;
}

export function mountSky(element, firstSky, firstScene, options = {}) {
  let sky = firstSky;
  let scene = firstScene;
  let plan = options.plan ?? 0;
  let receiver = options.receiver ?? 0;
  let hovered = null;
  let selected = null;
  let cells = null; // place in sky.panels of each cell, -2 outside the disc

  element.classList.add("gc-sky");
  const canvas = document.createElement("canvas");
  canvas.setAttribute("aria-hidden", "true");
  const drawing = document.createElementNS(SVG, "svg");
  drawing.setAttribute("viewBox", "-60 -60 120 120");
  drawing.setAttribute("role", "img");
  const tip = document.createElement("div");
  tip.className = "gc-tip";
  tip.hidden = true;
  tip.setAttribute("aria-hidden", "true");
  element.append(canvas, drawing, tip);

  const node = (name, attributes, parent, text) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  };
  const at = (flat, k = 0) => [flat[2 * k] * R, -flat[2 * k + 1] * R];
  const path = (flat) => {
    let text = "";
    for (let k = 0; k < flat.length / 2; k++) text += (k ? "L" : "M") + at(flat, k).map((v) => v.toFixed(2)).join(" ");
    return text;
  };
  const panelOf = (id) => scene.panels.find((panel) => panel.id === id);
  const leakOf = (id) => panelOf(id)?.plans[plan]?.leaks[receiver] ?? null;

  function fillCells() {
    const inside = insideOf(sky.side);
    const values = expanded(sky.first);
    cells = new Int32Array(sky.side * sky.side).fill(-2);
    inside.forEach((cell, k) => (cells[cell] = values[k]));
  }

  function insideOf(side) {
    const found = [];
    for (let row = 0; row < side; row++) {
      for (let column = 0; column < side; column++) {
        const [x, y] = [((column + 0.5) / side) * 2 - 1, 1 - ((row + 0.5) / side) * 2];
        if (Math.hypot(x, y) < 1) found.push(row * side + column);
      }
    }
    return found;
  }

  function paint() {
    const { side } = sky;
    const page = document.createElement("canvas");
    page.width = page.height = side;
    const pen = page.getContext("2d");
    const image = pen.createImageData(side, side);
    const table = Array.from({ length: 256 }, (_, code) => {
      if (code === BLOCKED) return [216, 210, 198];
      const place = code === NOTHING ? 1 : placeOn(sky.scale_db, code, 1);
      return cividis(sky, 1 - place).map((part) => Math.round(255 * part));
    });
    const values = expanded(sky.losses[plan]);
    const hatched = [];
    insideOf(side).forEach((cell, k) => {
      image.data.set([...table[values[k]], 255], 4 * cell);
      if (values[k] === BLOCKED) hatched.push(cell);
    });
    bleed(image, side);
    pen.putImageData(image, 0, 0);
    const width = Math.round((element.clientWidth || 360) * Math.min(window.devicePixelRatio || 1, 2));
    canvas.width = canvas.height = width;
    const ink = canvas.getContext("2d");
    const radius = (width * R) / 120;
    ink.save();
    ink.beginPath();
    ink.arc(width / 2, width / 2, radius, 0, 2 * Math.PI);
    ink.clip();
    ink.imageSmoothingEnabled = true;
    ink.drawImage(page, width / 2 - radius, width / 2 - radius, 2 * radius, 2 * radius);
    hatch(ink, hatched, width, radius);
    ink.restore();
  }

  /** Colours of the disc's rim carried outward, so that smoothing finds no dark edge there. */
  function bleed(image, side) {
    const { data } = image;
    for (let row = 0; row < side; row++) {
      for (let column = 0; column < side; column++) {
        const cell = row * side + column;
        if (data[4 * cell + 3]) continue;
        const [x, y] = [column + 0.5 - side / 2, row + 0.5 - side / 2];
        const shrink = (side / 2 - 1) / Math.hypot(x, y);
        const from = Math.floor(y * shrink + side / 2) * side + Math.floor(x * shrink + side / 2);
        data.set(data.slice(4 * from, 4 * from + 3), 4 * cell);
      }
    }
    for (let k = 3; k < data.length; k += 4) data[k] = 255;
  }

  /** Blocked directions are hatched: told from the others without colour. */
  function hatch(ink, blocked, width, radius) {
    const step = (2 * radius) / sky.side;
    const left = width / 2 - radius;
    ink.save();
    ink.beginPath();
    for (const cell of blocked) {
      ink.rect(left + (cell % sky.side) * step, left + Math.floor(cell / sky.side) * step, step + 0.5, step + 0.5);
    }
    ink.clip();
    ink.strokeStyle = "#8b8475";
    ink.lineWidth = Math.max(1, width / 420);
    ink.beginPath();
    const gap = (HATCH * width) / 360;
    for (let x = -width; x < width; x += gap) {
      ink.moveTo(x, 0);
      ink.lineTo(x + width, width);
    }
    ink.stroke();
    ink.restore();
  }

  function draw() {
    drawing.replaceChildren();
    drawing.style.fontSize = `${((12.5 * 120) / (element.clientWidth || 360)).toFixed(2)}px`;
    const name = shown(scene.receivers[receiver]?.id ?? sky.receiver);
    node("title", {}, drawing, `All directions around ${name}: straight up in the middle, the horizon a dashed circle, straight down at the rim.`);
    node("circle", { r: R, class: "gc-disc" }, drawing);
    node("circle", { r: (R * Math.SQRT1_2).toFixed(3), class: "gc-horizon" }, drawing);
    for (let k = 0; k < 36; k++) {
      const turn = (k * Math.PI) / 18;
      const reach = k % 9 ? (k % 3 ? 1.2 : 1.8) : 2.6;
      const [s, c] = [Math.sin(turn), -Math.cos(turn)];
      node("line", { x1: R * s, y1: R * c, x2: (R + reach) * s, y2: (R + reach) * c, class: "gc-tick" }, drawing);
    }
    for (const [letter, x, y] of [["N", 0, -55.5], ["E", 56, 0], ["S", 0, 55.5], ["W", -56, 0]]) {
      node("text", { x, y, class: "gc-way" }, drawing, letter);
    }
    const gaps = [];
    for (const outline of sky.outlines) {
      const d = outline.runs.map(path).join("");
      if (!d) continue;
      const gap = leakOf(outline.panel)?.is_gap;
      const chosen = outline.panel === selected ? " gc-chosen" : outline.panel === hovered ? " gc-over" : "";
      if (gap) gaps.push([d, outline, chosen]);
      else node("path", { d, class: `gc-line${chosen}` }, drawing);
    }
    for (const [d] of gaps) node("path", { d, class: "gc-gap-case" }, drawing);
    for (const [d] of gaps) node("path", { d, class: "gc-gap-line" }, drawing);
    for (const [d, , chosen] of gaps) if (chosen) node("path", { d, class: `gc-line${chosen}` }, drawing);
    const taken = [];
    for (const source of sky.sources) {
      if (source.rim.length) node("path", { d: path(source.rim), class: "gc-cone" }, drawing);
      const [x, y] = at(source.at);
      node("path", { d: `M${x} ${y - 2.4}L${x + 2.4} ${y}L${x} ${y + 2.4}L${x - 2.4} ${y}Z`, class: "gc-star" }, drawing);
      taken.push([x - 3, y - 3, x + 3, y + 3]);
    }
    const words = [
      ...sky.sources.map((source) => [shown(source.id, 24), at(source.at), "gc-name gc-source-name", 3.6]),
      ...gaps
        .filter(([, { panel }]) => panelOf(panel).kind !== "reveal")
        .sort((a, b) => leakOf(b[1].panel).share - leakOf(a[1].panel).share)
        .slice(0, 6)
        .map(([, { panel, mark }]) => [`${panelName(scene, panelOf(panel), receiver)} ${percent(leakOf(panel).share)}`, at(mark), "gc-name", 0]),
    ];
    for (const [text, spot, kind, away] of words) place(text, spot, kind, away, taken);
  }

  function place(text, [x, y], kind, away, taken) {
    const label = node("text", { class: kind, x, y }, drawing, text);
    const half = Math.min(label.getComputedTextLength() || 2.2 * text.length, 90) / 2;
    const line = 0.62 * parseFloat(drawing.style.fontSize);
    const tries = away ? [[0, -away - 1], [0, away + 1.6], [half + away, 0], [-half - away, 0]] : [[0, 0]];
    for (let r = 1; r < 6; r++) {
      const d = 1.6 * line * r;
      tries.push([0, -d], [0, d], [half * 0.7, -d], [-half * 0.7, d]);
    }
    for (const [dx, dy] of tries) {
      const cx = Math.min(Math.max(x + dx, half - 59), 59 - half);
      const cy = y + dy;
      const box = [cx - half - 0.6, cy - line, cx + half + 0.6, cy + line];
      if (Math.abs(cy) > 57) continue;
      if (taken.some((b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1])) continue;
      label.setAttribute("x", cx.toFixed(2));
      label.setAttribute("y", cy.toFixed(2));
      taken.push(box);
      return;
    }
    label.remove();
  }

  /** Id of the panel towards a point of the element. */
  function pickAt(x, y) {
    const width = element.clientWidth || 1;
    const radius = (width * R) / 120;
    const column = Math.floor((((x - width / 2) / radius + 1) / 2) * sky.side);
    const row = Math.floor((((y - width / 2) / radius + 1) / 2) * sky.side);
    if (column < 0 || row < 0 || column >= sky.side || row >= sky.side) return null;
    const cell = cells[row * sky.side + column];
    return cell >= 0 ? sky.panels[cell] : null;
  }

  function show(id, spot) {
    if (id !== hovered) {
      hovered = id;
      draw();
      options.onHover?.(id);
    }
    const panel = spot ? panelOf(id) : null;
    const lines = panel && (options.describe ? options.describe(panel) : describe(scene, panel, plan, receiver));
    tip.hidden = !lines;
    if (!lines) return;
    tip.replaceChildren(
      ...lines.map((line, k) => {
        const made = document.createElement(k ? "span" : "strong");
        made.textContent = line;
        return made;
      }),
    );
    const width = element.clientWidth;
    const x = Math.min(Math.max(spot[0] + 14, 0), Math.max(width - tip.offsetWidth, 0));
    const y = spot[1] + 18 + tip.offsetHeight < width ? spot[1] + 18 : Math.max(spot[1] - tip.offsetHeight - 12, 0);
    tip.style.transform = `translate(${Math.round(x)}px, ${Math.round(y)}px)`;
  }

  const listeners = [];
  const listen = (name, handler) => {
    element.addEventListener(name, handler);
    listeners.push(() => element.removeEventListener(name, handler));
  };
  const spotOf = (event) => {
    const box = element.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  listen("pointermove", (event) => {
    if (event.pointerType !== "touch") show(pickAt(...spotOf(event)), spotOf(event));
  });
  listen("pointerleave", () => show(null));
  listen("click", (event) => {
    const spot = spotOf(event);
    selected = pickAt(...spot);
    show(selected, spot);
    draw();
    options.onPick?.(selected);
  });
  const watcher = new ResizeObserver(() => {
    paint();
    draw();
  });

  fillCells();
  paint();
  draw();
  watcher.observe(element);

  return {
    setPlan(index) {
      plan = index;
      paint();
      draw();
    },
    /** Another sky, scene or receiver; what is not given stays. */
    setSky(changes) {
      sky = changes.sky ?? sky;
      scene = changes.scene ?? scene;
      plan = changes.plan ?? plan;
      receiver = changes.receiver ?? receiver;
      fillCells();
      paint();
      draw();
    },
    highlight(id) {
      if (id === hovered) return;
      hovered = id;
      draw();
    },
    select(id) {
      selected = id;
      draw();
    },
    pickAt,
    dispose() {
      watcher.disconnect();
      for (const undo of listeners) undo();
      element.replaceChildren();
      element.classList.remove("gc-sky");
    },
  };
}
