// Where a receiver stands: a plan of its room with a mark to drag, and three lengths to type.
import { h, short } from "./parts.js";
import { feetInches, length } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const STEP_M = { metres: 0.1, feet: 0.1016 }; // 10 cm, or 4 in
const GRID_M = { metres: 0.01, feet: 0.0127 }; // to which it is dragged: 1 cm, or half an inch

/** @import { Asked, Move } from "./protocol" */
/** @import { ReceiverJson, SceneJson } from "./scene" */

/**
 * Openings in a room's walls, as they stand in plan: both ends of each, in the plane of its wall
 * wherever its leaf hangs, at the end of a reveal or on the other side of the wall.
 * @param {Pick<SceneJson, "panels">} scene
 * @param {string} space
 */
export function gapsOf(scene, space) {
  const walls = new Map(scene.panels.map((panel) => [panel.id, panel]));
  return scene.panels
    .filter(
      (panel) =>
        panel.space === space &&
        panel.host &&
        Math.abs(panel.normal[2]) < 0.1 &&
        panel.kind !== "reveal" &&
        panel.kind !== "seam",
    )
    .map((panel) => {
      const [nx, ny] = panel.normal;
      const [hx, hy] = walls.get(panel.host ?? "")?.vertices ?? panel.vertices;
      const [px, py] = panel.vertices;
      const back = nx * (hx - px) + ny * (hy - py);
      const ends = [];
      for (let k = 0; k < panel.vertices.length; k += 3)
        ends.push([panel.vertices[k] + back * nx, panel.vertices[k + 1] + back * ny]);
      ends.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
      return [ends[0], ends[ends.length - 1]];
    });
}

/**
 * place = placeOf(element, ask); place.show(scene, receiver index, its own coordinates)
 * @param {HTMLElement} element
 * @param {(asked: Asked) => void} ask
 */
export function placeOf(element, ask) {
  const drawing = document.createElementNS(SVG, "svg");
  drawing.setAttribute("class", "ga-plan");
  drawing.setAttribute("role", "group");
  const room = document.createElementNS(SVG, "path");
  const gaps = document.createElementNS(SVG, "path");
  const mark = document.createElementNS(SVG, "circle");
  const bed = document.createElementNS(SVG, "rect");
  bed.setAttribute("class", "ga-plan-bed");
  room.setAttribute("class", "ga-plan-room");
  gaps.setAttribute("class", "ga-plan-holes");
  mark.setAttribute("class", "ga-plan-mark");
  mark.setAttribute("tabindex", "0");
  mark.setAttribute("role", "slider");
  mark.setAttribute("aria-valuenow", "0");
  drawing.append(room, gaps, bed, mark);
  const fields = ["x", "y", "z"].map((axis) =>
    h("input", {
      type: "text",
      inputmode: "text",
      size: 8,
      autocomplete: "off",
      "aria-label": axis,
    }),
  );
  const trouble = h("p", { class: "ga-trouble", role: "alert", id: "ga-place-trouble" });
  const words = ["from the west side", "from the south side", "above the floor"];
  const form = h(
    "form",
    { class: "ga-place-form", onsubmit: submit },
    fields.map((field, k) => {
      field.setAttribute("aria-label", words[k]);
      field.addEventListener("input", fine);
      return h("label", {}, h("span", {}, words[k]), field);
    }),
    trouble,
    h("button", { type: "submit" }, "Put it there"),
  );
  element.append(drawing, form);

  /** @type {SceneJson | null} */
  let scene = null;
  /** @type {ReceiverJson | null} */
  let receiver = null;
  let origin = [0, 0, 0];
  let at = [0, 0, 0];
  /** @type {string[]} */
  let said = []; // what the fields say of it
  let dragging = false;

  const measure = () => (scene?.feet ? "feet" : "metres");

  function fine() {
    trouble.textContent = "";
    for (const field of fields) field.removeAttribute("aria-invalid");
  }

  function submit(event) {
    event.preventDefault();
    fine();
    if (!receiver) return;
    // what nobody has typed over stays as exact as it is
    const typed = fields.map(({ value }, k) => (value === said[k] ? at[k] - origin[k] : value));
    ask({ do: "move", receiver: receiver.id, at: /** @type {Move["at"]} */ (typed) });
  }

  /**
   * @param {number} x
   * @param {number} y
   */
  function put(x, y) {
    if (!scene) return;
    at = [x, y, at[2]];
    mark.setAttribute("cx", String(x));
    mark.setAttribute("cy", String(-y));
    const [wide, deep] = receiver?.size ?? [0, 0];
    bed.setAttribute("x", String(x - wide / 2));
    bed.setAttribute("y", String(-y - deep / 2));
    bed.setAttribute("width", String(wide));
    bed.setAttribute("height", String(deep));
    const [east, north] = [x - origin[0], y - origin[1]];
    const [across, along] = [length(scene, east), length(scene, north)];
    mark.setAttribute(
      "aria-valuetext",
      `${across} from the west side, ${along} from the south side`,
    );
    write([across, along, fields[2].value]);
  }

  function write(words) {
    said = words;
    fields.forEach((field, k) => {
      field.value = words[k];
    });
  }

  function drop() {
    if (!receiver) return;
    const grid = GRID_M[measure()];
    const own = at.map((value, k) =>
      Number((Math.round((value - origin[k]) / grid) * grid).toFixed(5)),
    );
    ask({ do: "move", receiver: receiver.id, at: [own[0], own[1], at[2] - origin[2]] });
  }

  mark.addEventListener("pointerdown", (event) => {
    dragging = true;
    mark.setPointerCapture(event.pointerId);
  });
  mark.addEventListener("pointermove", (event) => {
    if (!dragging) return;
    const here = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      drawing.getScreenCTM()?.inverse(),
    );
    put(here.x, -here.y);
  });
  mark.addEventListener("pointerup", () => {
    if (dragging) drop();
    dragging = false;
  });
  mark.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[
      event.key
    ];
    const step = STEP_M[measure()];
    if (way) put(at[0] + way[0] * step, at[1] + way[1] * step);
    else if (event.key === "Enter") drop();
    else return;
    event.preventDefault();
  });

  return {
    /**
     * What is wrong with what was typed, at its field.
     * @param {string} message
     * @param {number | null} at
     */
    trouble(message, at) {
      trouble.textContent = message;
      const field = at === null ? null : fields[at];
      field?.setAttribute("aria-invalid", "true");
      field?.setAttribute("aria-describedby", trouble.id);
      (field?.closest("label") ?? form.lastElementChild)?.after(trouble);
      field?.focus();
    },
    /**
     * @param {SceneJson} next
     * @param {number} index of the receiver
     * @param {number[]} own its own coordinates
     */
    show(next, index, own) {
      scene = next;
      fine();
      const found = next.receivers[index];
      const space = next.spaces.find((each) => each.id === found?.space);
      receiver = found && space ? found : null;
      element.hidden = receiver === null;
      if (!found || !space) return;
      at = [...found.position];
      origin = at.map((value, k) => value - own[k]);
      const ring = (flat) => {
        const points = [];
        for (let k = 0; k < flat.length; k += 2) points.push(`${flat[k]} ${-flat[k + 1]}`);
        return `M${points.join("L")}Z`;
      };
      room.setAttribute("d", space.footprint.map(ring).join(""));
      gaps.setAttribute(
        "d",
        gapsOf(next, space.id)
          .map(([a, b]) => `M${a[0]} ${-a[1]}L${b[0]} ${-b[1]}`)
          .join(""),
      );
      const [low, high] = [space.bounds.slice(0, 2), space.bounds.slice(3, 5)];
      const edge = 0.08 * Math.max(high[0] - low[0], high[1] - low[1]);
      drawing.setAttribute(
        "viewBox",
        [
          low[0] - edge,
          -high[1] - edge,
          high[0] - low[0] + 2 * edge,
          high[1] - low[1] + 2 * edge,
        ].join(" "),
      );
      drawing.setAttribute(
        "aria-label",
        `Plan of ${short(space.title || space.id)}, north side up`,
      );
      const size = Math.max(high[0] - low[0], high[1] - low[1]);
      mark.setAttribute("r", String(0.045 * size));
      mark.setAttribute(
        "aria-label",
        `${short(found.title)}: arrow keys move it, Enter puts it there`,
      );
      put(at[0], at[1]);
      // what stands in the file, to a millimetre or a sixteenth of an inch
      write(own.map((value) => (next.feet ? feetInches(value, 16) : `${+value.toFixed(3)} m`)));
    },
  };
}
