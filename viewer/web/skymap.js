// What a receiver sees: all directions on one equal-area disc, coloured by loss.
//
//   const map = mountSky(element, sky, scene, options)
//
// `sky` is the JSON of viewer/scene/sky.py, `scene` that of viewer/scene/to_json.py. `element` must be square.
// options: plan (index), receiver (index), describe(panel) → [title, line, …] or null,
// onPick(id|null), onHover(id|null). Needs no WebGL.
import { cividis, describe, panelName, percent, placeOn, shown } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const R = 50; // of the disc, in the drawing's own units
const BLOCKED = 254;
const NOTHING = 255;
const HATCH = 7;
const NAMED_FROM = 0.005; // least share of a gap that has its name on the map
const EDGE = 59; // of the drawing, which no name crosses

/** Sums over the cells above and left of each corner, of those that show one panel. */
function summed(cells, side, index) {
  const sums = new Int32Array((side + 1) * (side + 1));
  for (let row = 0; row < side; row++) {
    for (let column = 0; column < side; column++) {
      const at = (row + 1) * (side + 1) + column + 1;
      sums[at] =
        sums[at - 1] +
        sums[at - side - 1] -
        sums[at - side - 2] +
        (cells[row * side + column] === index ? 1 : 0);
    }
  }
  return sums;
}

/** Values of a run-length code. */
export function expanded(code) {
  const values = [];
  for (let k = 0; k < code.length; k += 2)
    for (let n = code[k + 1]; n > 0; n--) values.push(code[k]);
  return values;
}

export function mountSky(element, firstSky, firstScene, options = {}) {
  let sky = firstSky;
  let scene = firstScene;
  let plan = options.plan ?? 0;
  let receiver = options.receiver ?? 0;
  let hovered = null;
  let selected = null;
  let inside = {}; // panel id → sums over its cells
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
    for (let k = 0; k < flat.length / 2; k++)
      text +=
        (k ? "L" : "M") +
        at(flat, k)
          .map((v) => v.toFixed(2))
          .join(" ");
    return text;
  };
  const panelOf = (id) => scene.panels.find((panel) => panel.id === id);
  const leakOf = (id) => panelOf(id)?.plans[plan]?.leaks[receiver] ?? null;

  function fillCells() {
    const values = expanded(sky.first);
    inside = {};
    cells = new Int32Array(sky.side * sky.side).fill(-2);
    insideOf(sky.side).forEach((cell, k) => {
      cells[cell] = values[k];
    });
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
    const width = Math.round(
      (element.clientWidth || 360) * Math.min(window.devicePixelRatio || 1, 2),
    );
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
      ink.rect(
        left + (cell % sky.side) * step,
        left + Math.floor(cell / sky.side) * step,
        step + 0.5,
        step + 0.5,
      );
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
    drawing.style.fontSize = `${(((element.clientWidth < 420 ? 11 : 12.5) * 120) / (element.clientWidth || 360)).toFixed(2)}px`;
    const name = shown(scene.receivers[receiver]?.id ?? sky.receiver);
    node(
      "title",
      {},
      drawing,
      `All directions around ${name}: straight up in the middle, the horizon a dashed circle, straight down at the rim.`,
    );
    node("circle", { r: R, class: "gc-disc" }, drawing);
    node("circle", { r: (R * Math.SQRT1_2).toFixed(3), class: "gc-horizon" }, drawing);
    for (let k = 0; k < 36; k++) {
      const turn = (k * Math.PI) / 18;
      const reach = k % 9 ? (k % 3 ? 1.2 : 1.8) : 2.6;
      const [s, c] = [Math.sin(turn), -Math.cos(turn)];
      node(
        "line",
        { x1: R * s, y1: R * c, x2: (R + reach) * s, y2: (R + reach) * c, class: "gc-tick" },
        drawing,
      );
    }
    for (const [letter, x, y] of [
      ["N", 0, -55.5],
      ["E", 56, 0],
      ["S", 0, 55.5],
      ["W", -56, 0],
    ]) {
      node("text", { x, y, class: "gc-way" }, drawing, letter);
    }
    const gaps = [];
    for (const outline of sky.outlines) {
      const d = outline.runs.map(path).join("");
      if (!d) continue;
      const gap = leakOf(outline.panel)?.is_gap;
      const chosen =
        outline.panel === selected ? " gc-chosen" : outline.panel === hovered ? " gc-over" : "";
      if (gap) gaps.push([d, outline, chosen]);
      else node("path", { d, class: `gc-line${chosen}` }, drawing);
    }
    for (const [d] of gaps) node("path", { d, class: "gc-gap-case" }, drawing);
    for (const [d] of gaps) node("path", { d, class: "gc-gap-line" }, drawing);
    for (const [d, , chosen] of gaps)
      if (chosen) node("path", { d, class: `gc-line${chosen}` }, drawing);
    const line = 0.62 * parseFloat(drawing.style.fontSize);
    const taken = [];
    for (const source of sky.sources) {
      if (source.rim.length) node("path", { d: path(source.rim), class: "gc-cone" }, drawing);
      const [x, y] = at(source.at);
      node(
        "path",
        {
          d: `M${x} ${y - 2.4}L${x + 2.4} ${y}L${x} ${y + 2.4}L${x - 2.4} ${y}Z`,
          class: "gc-star",
        },
        drawing,
      );
      taken.push([x - 3, y - 3, x + 3, y + 3]);
    }
    const leaders = node("g", {}, drawing); // below every name
    for (const source of sky.sources) {
      nameIt(
        {
          text: shown(source.id, 24),
          spot: at(source.at),
          kind: "gc-name gc-source-name",
          clear: 3,
        },
        { line, taken, leaders },
      );
    }
    const named = gaps
      .filter(
        ([, { panel }]) => panelOf(panel).kind !== "reveal" && leakOf(panel).share >= NAMED_FROM,
      )
      .sort((a, b) => leakOf(b[1].panel).share - leakOf(a[1].panel).share)
      .slice(0, 6);
    for (const [, { panel, mark }] of named) {
      const text = `${panelName(scene, panelOf(panel), receiver)} ${percent(leakOf(panel).share)}`;
      nameIt({ text, spot: at(mark), kind: "gc-name", clear: 0, panel }, { line, taken, leaders });
    }
  }

  /** A name inside what it is of where it fits there, else beside it with a line to it. */
  function nameIt({ text, spot, kind, clear, panel }, { line, taken, leaders }) {
    const label = node("text", { class: kind }, drawing, text);
    const half = [(label.getComputedTextLength() || 2.2 * text.length) / 2 + 0.8, line];
    const free = (x, y) => {
      const box = [x - half[0], y - half[1], x + half[0], y + half[1]];
      if (Math.max(-box[0], -box[1], box[2], box[3]) > EDGE) return null;
      return taken.some((b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1])
        ? null
        : box;
    };
    const put = ([x, y], box, led) => {
      label.setAttribute("x", x.toFixed(2));
      label.setAttribute("y", y.toFixed(2));
      taken.push(box);
      if (!led) return;
      const end = [
        Math.min(Math.max(spot[0], box[0]), box[2]),
        Math.min(Math.max(spot[1], box[1]), box[3]),
      ];
      for (const name of ["gc-lead-case", "gc-lead"])
        node("line", { x1: end[0], y1: end[1], x2: spot[0], y2: spot[1], class: name }, leaders);
      if (!clear)
        node("circle", { cx: spot[0], cy: spot[1], r: 0.9, class: "gc-lead-dot" }, leaders);
    };
    for (const place of panel ? within(panel, half, spot) : []) {
      const box = free(...place);
      if (box) {
        put(place, box, false);
        return;
      }
    }
    for (const [x, y, near] of beside(spot, half, clear)) {
      const box = free(x, y);
      if (box) {
        put([x, y], box, !near || !clear);
        return;
      }
    }
    label.remove();
  }

  /** Middles where a box lies wholly in what is seen of a panel, those nearest to a spot first. */
  function within(panel, [across, down], [x0, y0]) {
    const side = sky.side;
    const index = sky.panels.indexOf(panel);
    inside[panel] ??= summed(cells, side, index);
    const sums = inside[panel];
    const size = (2 * R) / side;
    const [wide, high] = [Math.ceil((2 * across) / size), Math.ceil((2 * down) / size)];
    const found = [];
    for (let row = 0; row + high <= side; row++) {
      for (let column = 0; column + wide <= side; column++) {
        const count = (r, c) => sums[r * (side + 1) + c];
        const held =
          count(row + high, column + wide) -
          count(row, column + wide) -
          count(row + high, column) +
          count(row, column);
        if (held !== wide * high) continue;
        const [x, y] = [(column + wide / 2) * size - R, (row + high / 2) * size - R];
        found.push([Math.hypot(x - x0, y - y0), x, y]);
      }
    }
    return found.sort((a, b) => a[0] - b[0]).map(([, x, y]) => [x, y]);
  }

  /** Middles round a spot, the nearest first; the first ones touch it. */
  function beside([x, y], [across, down], clear) {
    const found = clear
      ? [
          [x, y - clear - down, true],
          [x, y + clear + down, true],
          [x + across + clear, y, true],
          [x - across - clear, y, true],
        ]
      : [];
    for (let r = 1; r < 16; r++) {
      const reach = clear + 1.6 * down * r;
      for (let k = 0; k < 16; k++) {
        const turn = (k * Math.PI) / 8;
        const [dx, dy] = [Math.sin(turn), -Math.cos(turn)];
        found.push([x + dx * (reach + across), y + dy * (reach + 0.5 * down), false]);
      }
    }
    return found;
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
    const lines =
      panel &&
      (options.describe ? options.describe(panel) : describe(scene, panel, plan, receiver));
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
    const y =
      spot[1] + 18 + tip.offsetHeight < width
        ? spot[1] + 18
        : Math.max(spot[1] - tip.offsetHeight - 12, 0);
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
