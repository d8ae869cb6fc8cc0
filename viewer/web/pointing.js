// What a pointer meets in the picture, and the tip beside it.
import { distanceToSegment, faces } from "./shapes.js";

/** @import { Camera } from "./camera.js" */
/** @import { Stage } from "./stage.js" */
/** @import { Face, Point, Three } from "./types" */

const CLICK_MS = 800;
const MOVED_PX = 5;
const SLACK_PX = 9; // by which a narrow gap may be missed
const TOUCH_SLACK_PX = 18;
const SOLID = ["panels", "walls", "beds", "rooms"];

/**
 * The narrow gap whose outline lies nearest to a point of the picture, if one is near enough.
 * @param {Face[]} narrow
 * @param {Point} spot
 * @param {{eye: Point, project: (p: Point) => Point, slack: number}} seen
 * @returns {string | null}
 */
export function nearestNarrow(narrow, [x, y], { eye, project, slack }) {
  let best = slack;
  /** @type {string | null} */
  let found = null;
  for (const { panel, outlines } of narrow) {
    if (!faces(panel.normal, eye)) continue;
    for (const outline of outlines) {
      const ring = outline.map((p) => [...project(p), 0]);
      for (const [k, p] of ring.entries()) {
        const away = distanceToSegment([x, y, 0], p, ring[(k + 1) % ring.length]);
        if (away < best) [best, found] = [away, panel.id];
      }
    }
  }
  return found;
}

/** Finds faces under points of the picture. */
export class Picker {
  /** @param {{THREE: Three, stage: Stage, camera: Camera}} given */
  constructor({ THREE, stage, camera }) {
    this.stage = stage;
    this.camera = camera;
    this.caster = new THREE.Raycaster();
    this.spot = new THREE.Vector2();
  }

  /**
   * Id of the face under a point of the element, near walls and hidden faces left out.
   * @param {number} x
   * @param {number} y
   * @returns {string | null}
   */
  at(x, y, slack = SLACK_PX) {
    const { camera, stage } = this;
    const narrow = stage.faces.filter(
      (face) => face.mesh.visible && face.small && stage.leakOf(face.panel)?.is_gap,
    );
    const project = (p) => camera.project(p);
    const near = nearestNarrow(narrow, [x, y], { eye: camera.eye(), project, slack });
    return near ?? this.#met(x, y)?.object.userData.panel ?? null;
  }

  /**
   * Whether a face is what shows at a point: nothing stands before it.
   * @param {string} id
   * @param {Point} spot
   */
  shows(id, [x, y]) {
    return this.#met(x, y)?.object.userData.panel === id;
  }

  /** The nearest thing that shows under a point. */
  #met(x, y) {
    const [width, height] = this.camera.size;
    this.spot.set((2 * x) / width - 1, 1 - (2 * y) / height);
    this.caster.setFromCamera(this.spot, this.camera.camera);
    const solids = SOLID.map((name) => this.stage.groups[name]);
    return this.caster.intersectObjects(solids, true).find((hit) => hit.object.visible);
  }
}

/**
 * Where a tip stands beside a spot: below it where there is room, and never over the edge.
 * @param {Point} spot
 * @param {number[]} tip width and height of the tip
 * @param {number[]} size width and height of the picture
 */
export function tipPlace(spot, [wide, high], [width, height]) {
  const x = Math.min(Math.max(spot[0] + 16, 4), Math.max(width - wide - 4, 4));
  const below = spot[1] + 18 + high < height;
  return [x, below ? spot[1] + 18 : Math.max(spot[1] - high - 14, 4)];
}

/** A tip over the picture: a title and lines. */
export class Tip {
  /** @param {HTMLElement} node */
  constructor(node) {
    this.node = node;
    node.hidden = true;
    node.setAttribute("aria-hidden", "true");
  }

  hide() {
    this.node.hidden = true;
  }

  /**
   * @param {string[]} lines
   * @param {Point} spot
   * @param {number[]} size of the picture
   */
  show(lines, spot, size) {
    this.node.replaceChildren(
      ...lines.map((line, k) => {
        const made = document.createElement(k ? "span" : "strong");
        made.textContent = line;
        return made;
      }),
    );
    this.node.hidden = false;
    const [x, y] = tipPlace(spot, [this.node.offsetWidth, this.node.offsetHeight], size);
    this.node.style.transform = `translate(${Math.round(x)}px, ${Math.round(y)}px)`;
  }
}

/**
 * Listen to the pointer over a canvas: what it hovers over, and what it clicks on.
 * @param {HTMLCanvasElement} canvas
 * @param {(target: EventTarget, name: string, act: (event: PointerEvent) => void) => void} listen
 * @param {{
 *   pick: (x: number, y: number, slack?: number) => string | null,
 *   hover: (id: string | null, at?: Point | null) => void,
 *   select: (id: string | null) => void,
 * }} act
 */
export function listenToPointer(canvas, listen, { pick, hover, select }) {
  /** @type {{at: Point, time: number, moved: boolean} | null} */
  let pressed = null;
  /** @type {Point | null} */
  let pending = null;
  const spot = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  listen(canvas, "pointerdown", (event) => {
    pressed = event.isPrimary ? { at: spot(event), time: performance.now(), moved: false } : null;
  });
  listen(canvas, "pointermove", (event) => {
    const here = spot(event);
    if (pressed && Math.hypot(here[0] - pressed.at[0], here[1] - pressed.at[1]) > MOVED_PX) {
      pressed.moved = true;
    }
    if (event.buttons || event.pointerType === "touch") return;
    if (pending === null) {
      requestAnimationFrame(() => {
        if (pending && canvas.isConnected) hover(pick(pending[0], pending[1]), pending);
        pending = null;
      });
    }
    pending = here;
  });
  listen(canvas, "pointerup", (event) => {
    if (!pressed || pressed.moved || performance.now() - pressed.time > CLICK_MS) return;
    const touch = event.pointerType === "touch";
    const id = pick(pressed.at[0], pressed.at[1], touch ? TOUCH_SLACK_PX : SLACK_PX);
    if (touch) hover(id, pressed.at);
    select(id);
    pressed = null;
  });
  listen(canvas, "pointerleave", (event) => {
    pending = null;
    if (event.pointerType !== "touch") hover(null);
  });
}
