// A face seen from inside, on which one clicks to say where an outlet is: along it and up.
import { h } from "./parts.js";
import { feetInches } from "./words.js";

/** @import { DrawnFaceTold, MarkTold } from "./protocol" */

const SVG = "http://www.w3.org/2000/svg";
const GRID_M = { metres: 0.01, feet: 0.0127 }; // to which a click is rounded: 1 cm, or half an inch
const MARGIN_M = 0.12;
const MARK_M = 0.07;

/**
 * A place on a face as it is typed: along it from the left and up a wall; x and y of a room.
 * @typedef {{at: string, height: string | null}} Typed
 */

/**
 * A length as it is typed in the measure of the job.
 * @param {number} value in metres
 * @param {boolean} feet
 */
export function typedLength(value, feet) {
  const grid = feet ? GRID_M.feet : GRID_M.metres;
  const rounded = Math.round(value / grid) * grid;
  return feet ? feetInches(rounded) : `${+rounded.toFixed(2)} m`;
}

/**
 * A place on a face, in the face's own metres, as the file says it.
 * @param {Pick<DrawnFaceTold, "kind" | "origin" | "axes">} face
 * @param {number[]} place from its left end, and up
 * @param {boolean} feet
 * @returns {Typed}
 */
export function typedPlace(face, [along, up], feet) {
  if (face.kind === "wall") {
    return { at: typedLength(along, feet), height: typedLength(up, feet) };
  }
  const [ux, uy, vx, vy] = face.axes;
  const x = face.origin[0] + along * ux + up * vx;
  const y = face.origin[1] + along * uy + up * vy;
  return { at: `${typedLength(x, feet)}, ${typedLength(y, feet)}`, height: null };
}

/**
 * Whether a point lies within a ring of points one after another.
 * @param {number[]} flat
 * @param {number[]} point
 */
export function within(flat, [x, y]) {
  let inside = false;
  for (let i = 0, j = flat.length - 2; i < flat.length; j = i, i += 2) {
    const [xi, yi, xj, yj] = [flat[i], flat[i + 1], flat[j], flat[j + 1]];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) inside = !inside;
  }
  return inside;
}

/**
 * The path of rings of points, up being up.
 * @param {number[][]} rings
 */
export function pathOf(rings) {
  return rings
    .map((flat) => {
      const points = [];
      for (let k = 0; k < flat.length; k += 2) points.push(`${flat[k]} ${-flat[k + 1]}`);
      return `M${points.join("L")}Z`;
    })
    .join("");
}

/**
 * @param {string} tag
 * @param {Record<string, unknown>} properties
 */
function drawn(tag, properties) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(properties)) node.setAttribute(key, String(value));
  return node;
}

/**
 * The drawing of a face. `place(typed)` is called for a click on the bare face, `mark(mark)` for one
 * on an outlet or a bond.
 * @param {DrawnFaceTold} face
 * @param {boolean} feet
 * @param {{place: (typed: Typed) => void, mark: (mark: MarkTold) => void}} act
 */
export function elevationOf(face, feet, act) {
  const xs = face.outline.filter((_, k) => k % 2 === 0);
  const ys = face.outline.filter((_, k) => k % 2 === 1);
  const [left, right] = [Math.min(...xs) - MARGIN_M, Math.max(...xs) + MARGIN_M];
  const [low, high] = [Math.min(...ys) - MARGIN_M, Math.max(...ys) + MARGIN_M];
  const svg = drawn("svg", {
    class: "ga-elevation",
    viewBox: `${left} ${-high} ${right - left} ${high - low}`,
    role: "application",
    tabindex: 0,
    "aria-label": `${face.title}, seen from inside. Arrow keys move a spot, Enter puts something there.`,
  });
  svg.append(drawn("path", { class: "ga-el-face", d: pathOf([face.outline]) }));
  for (const ring of face.strips)
    svg.append(drawn("path", { class: "ga-el-strip", d: pathOf([ring]) }));
  for (const { outline } of face.openings) {
    svg.append(drawn("path", { class: "ga-el-hole", d: pathOf([outline]) }));
  }
  for (const { ends, likely, id } of face.behind) {
    const [x1, y1, x2, y2] = ends;
    const line = drawn("line", { x1, y1: -y1, x2, y2: -y2 });
    line.setAttribute("class", likely ? "ga-el-run ga-el-likely" : "ga-el-run");
    const title = drawn("title", {});
    title.textContent = likely ? `${id} (by its route, not seen)` : id;
    line.append(title);
    svg.append(line);
  }
  for (const mark of face.marks) {
    const [x, y] = mark.at;
    const node = drawn("circle", {
      cx: x,
      cy: -y,
      r: MARK_M,
      class: `ga-el-mark ga-el-${mark.kind}`,
    });
    const title = drawn("title", {});
    title.textContent = `${mark.kind} ${mark.id}`;
    node.append(title);
    node.addEventListener("click", (event) => {
      event.stopPropagation();
      act.mark(mark);
    });
    svg.append(node);
  }
  const said = h("small", { class: "ga-el-said", "aria-live": "polite" }, "");
  /** @type {(event: MouseEvent) => [number, number]} */
  const placeOf = (event) => {
    const box = svg.getBoundingClientRect();
    const scale = (right - left) / box.width;
    return [left + (event.clientX - box.left) * scale, high - (event.clientY - box.top) * scale];
  };
  /** @param {[number, number]} place */
  const say = (place) => {
    const typed = within(face.outline, place) ? typedPlace(face, place, feet) : null;
    said.textContent = typed
      ? typed.height
        ? `${typed.at} from the left, ${typed.height} up`
        : `at ${typed.at}`
      : "";
  };
  svg.addEventListener("mousemove", (event) => say(placeOf(event)));
  svg.addEventListener("mouseleave", () => {
    said.textContent = "";
  });
  keysOn(svg, face, feet, say, act);
  svg.addEventListener("click", (event) => {
    const place = placeOf(event);
    if (within(face.outline, place)) act.place(typedPlace(face, place, feet));
  });
  return h("figure", { class: "ga-el" }, h("figcaption", {}, face.title, " ", said), svg);
}

/**
 * A spot that arrow keys move over a face; Enter takes what is there, or puts something there.
 * @param {Element} svg
 * @param {DrawnFaceTold} face
 * @param {boolean} feet
 * @param {(place: [number, number]) => void} say
 * @param {{place: (typed: Typed) => void, mark: (mark: MarkTold) => void}} act
 */
function keysOn(svg, face, feet, say, act) {
  const step = feet ? 0.1016 : 0.1;
  const even = (values) => (Math.min(...values) + Math.max(...values)) / 2;
  let x = even(face.outline.filter((_, k) => k % 2 === 0));
  let y = even(face.outline.filter((_, k) => k % 2 === 1));
  const spot = drawn("circle", { r: 1.3 * MARK_M, class: "ga-el-cursor" });
  const show = () => {
    spot.setAttribute("cx", String(x));
    spot.setAttribute("cy", String(-y));
    svg.append(spot);
    say([x, y]);
  };
  svg.addEventListener("focus", () => svg.matches(":focus-visible") && show());
  svg.addEventListener("blur", () => spot.remove());
  svg.addEventListener("keydown", (event) => {
    const { key } = /** @type {KeyboardEvent} */ (event);
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[
      key
    ];
    if (way) {
      const [nx, ny] = [x + way[0] * step, y + way[1] * step];
      if (within(face.outline, [nx, ny])) [x, y] = [nx, ny];
      show();
    } else if (key === "Enter") {
      const near = face.marks.find(({ at }) => Math.hypot(at[0] - x, at[1] - y) < 2 * MARK_M);
      if (near) act.mark(near);
      else act.place(typedPlace(face, [x, y], feet));
    } else return;
    event.preventDefault();
  });
}
