// The cutaway: a room in parallel projection, near walls taken away, coloured by what it lets in.
//
//   const view = mount(element, { THREE, OrbitControls }, scene, options)
//
// `scene` is the JSON of viewer/scene/to_json.py. `element` must have a size; its class becomes
// `gc-view` and cutaway.css styles what is put inside. Nothing is drawn unless something has
// changed. mount() throws where the browser has no WebGL, and leaves the element as it was.
//
// options (all may be left out):
//   plan, receiver      index to begin with                     mode      "let-in" | "loss" | "treatment" | "wiring"
//   beams               true                                    theme     "light" | "dark"
//   storeys             {mode: "room"} | {mode: "one", id} | {mode: "all"} | {mode: "peel", count}
//   wheel               "focus": zoom only once the view has the focus; "always"
//   touchAction         CSS value; "pan-y" lets a page scroll on a phone
//   panelButtons        a hidden list of buttons, one a face, for the Tab key
//   describe(panel)     [title, line, line …] for the tip; null for none
//   over                elements that lie over the view, which labels keep clear of
//   onPick(id|null, panel), onHover(id|null), onCamera(camera), onLost()

import { calloutsOf } from "./callouts.js";
import { Camera, pointsToHold } from "./camera.js";
import { onPaper } from "./export_png.js";
import { labelsIn } from "./labels.js";
import { brushOf } from "./materials.js";
import { listenToPointer, Picker, Tip } from "./pointing.js";
import { Stage } from "./stage.js";
import { describe, panelName } from "./words.js";

/** @import { Box } from "./placing.js" */
/** @import { PanelJson, ReadingJson, SceneJson } from "./scene" */
/** @import { CameraPlace, MountOptions, Point, StoreyChoice, Three, ViewState } from "./types" */

const TURN = Math.PI / 30; // of one press of an arrow key
const HELP =
  "Cutaway of the room. Arrow keys turn it, plus and minus zoom, 0 goes back, " +
  "N and P go from face to face, Enter picks the face, Escape lets go.";

/**
 * @param {HTMLElement} element
 * @param {{THREE: Three, OrbitControls: Three}} engine
 * @param {SceneJson} scene
 * @param {MountOptions} [options]
 */
export function mount(element, engine, scene, options = {}) {
  return new Cutaway(element, engine, scene, options);
}

/**
 * @param {string} tag
 * @param {string} name
 * @param {HTMLElement} parent
 */
function make(tag, name, parent) {
  const node = document.createElement(tag);
  node.className = name;
  parent.append(node);
  return node;
}

/**
 * The viewer's state to begin with.
 * @param {MountOptions} options
 * @returns {ViewState}
 */
function firstState(options) {
  return {
    plan: options.plan ?? 0,
    receiver: options.receiver ?? 0,
    mode: options.mode ?? "let-in",
    beams: options.beams ?? true,
    storeys: options.storeys ?? { mode: "room" },
    silent: new Set(),
    readings: [],
    hovered: null,
    selected: null,
  };
}

class Cutaway {
  #asked = 0; // animation frame in which it is drawn
  #gone = false;
  #counts = { frames: 0, last_ms: 0 };
  /** @type {Array<() => void>} */
  #undo = [];
  /** @type {HTMLElement | null} */
  #list = null;

  /**
   * @param {HTMLElement} element
   * @param {{THREE: Three, OrbitControls: Three}} engine
   * @param {SceneJson} scene
   * @param {MountOptions} options
   */
  constructor(element, { THREE, OrbitControls }, scene, options) {
    this.renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true }); // throws without WebGL
    this.element = element;
    this.options = options;
    this.inner = firstState(options);
    element.classList.add("gc-view");
    this.root = make("div", "gc-root", element);
    this.canvas = this.#canvas();
    this.labels = labelsIn(this.root);
    this.tip = new Tip(make("div", "gc-tip", this.root));
    this.spoken = make("p", "gc-spoken", this.root);
    this.spoken.setAttribute("aria-live", "polite");
    this.camera = new Camera({ THREE, OrbitControls, canvas: this.canvas });
    this.lineSize = new THREE.Vector2(1, 1);
    this.stage = new Stage({
      THREE,
      brush: brushOf({ THREE, size: this.lineSize }),
      theme: scene.look.themes[options.theme ?? "light"] ?? scene.look.themes.light,
      state: this.inner,
      scene,
    });
    this.picker = new Picker({ THREE, stage: this.stage, camera: this.camera });
    this.#listen();
    this.resize();
    this.watcher = new ResizeObserver(() => this.resize());
    this.watcher.observe(this.root);
    this.#listFaces();
  }

  #canvas() {
    /** @type {HTMLCanvasElement} */
    const canvas = this.renderer.domElement;
    canvas.className = "gc-canvas";
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-roledescription", "3D view");
    canvas.setAttribute("aria-label", HELP);
    this.root.append(canvas);
    return canvas;
  }

  // -- what others ask

  get state() {
    return { ...this.inner, silent: [...this.inner.silent] };
  }

  get stats() {
    const calls = this.renderer.info.render.calls;
    return { ...this.#counts, panels: this.stage.faces.length, calls };
  }

  /** @param {number} index */
  setPlan(index) {
    this.inner.plan = index;
    this.#recolour();
  }

  /** @param {number} index */
  setReceiver(index) {
    this.inner.receiver = index;
    this.stage.arrange();
    this.home();
    this.#listFaces();
  }

  /** @param {ViewState["mode"]} mode */
  setMode(mode) {
    this.inner.mode = mode;
    this.#recolour();
  }

  /** @param {boolean} on */
  setBeams(on) {
    this.inner.beams = on;
    this.#recolour();
  }

  /** @param {StoreyChoice} storeys */
  setStoreys(storeys) {
    this.inner.storeys = storeys;
    this.stage.arrange();
    this.#refit();
    this.#listFaces();
  }

  /**
   * Sources that are off, by id.
   * @param {string[]} ids
   */
  setSilent(ids) {
    this.inner.silent = new Set(ids);
    this.stage.placeSources();
    this.#recolour();
  }

  /**
   * Readings of the job; each shows with the plan that it was taken under.
   * @param {ReadingJson[]} readings
   */
  setReadings(readings) {
    this.inner.readings = readings;
    this.#recolour();
  }

  /**
   * A new scene; `same` says that only its numbers, plans and treatments have changed.
   * @param {SceneJson} next
   */
  setScene(next, { same = false } = {}) {
    const { inner } = this;
    inner.plan = Math.min(inner.plan, next.plans.length - 1);
    inner.receiver = Math.min(inner.receiver, Math.max(next.receivers.length - 1, 0));
    this.labels.forget();
    if (same) {
      this.stage.renew(next);
      this.#request();
    } else {
      const kept = this.getCamera();
      this.stage.build(next);
      this.setCamera(kept);
    }
  }

  /** @param {string | null} id with a tip beside its face */
  hover(id) {
    this.#hover(id, this.project(id));
  }

  /** @param {string | null} id without a tip */
  highlight(id) {
    this.#hover(id, null);
  }

  /**
   * @param {string | null} id
   * @param {{tell?: boolean}} [how]
   */
  select(id, { tell = true } = {}) {
    const face = this.stage.get(id);
    const before = this.stage.get(this.inner.selected);
    this.inner.selected = face ? id : null;
    for (const each of [before, face]) if (each) this.stage.paint(each);
    this.stage.drawMarks(this.camera.eye());
    this.#request();
    if (tell) this.options.onPick?.(this.inner.selected, face?.panel ?? null);
  }

  /**
   * @param {number} x
   * @param {number} y
   * @param {number} [slack]
   */
  pickAt(x, y, slack) {
    return this.picker.at(x, y, slack);
  }

  /**
   * Place of a face's label in the picture.
   * @param {string | null} id
   */
  project(id) {
    const face = this.stage.get(id);
    return face ? this.camera.project(this.stage.anchorOf(face, this.camera.eye())) : null;
  }

  getCamera() {
    return this.camera.get();
  }

  /** @param {Partial<CameraPlace>} place */
  setCamera(place) {
    this.camera.set(place);
    this.#request();
  }

  /** Look from the best corner at the whole picture. */
  home() {
    const { azimuth_rad, elevation_rad, ring } = this.stage.scope;
    this.setCamera({ azimuth_rad, elevation_rad, zoom: 1, target: ring.centre });
    const target = this.#fit();
    this.setCamera({ azimuth_rad, elevation_rad, zoom: 1, target });
    this.options.onCamera?.(this.getCamera());
  }

  /** @param {number} factor */
  zoom(factor) {
    this.setCamera({ zoom: this.getCamera().zoom * factor });
  }

  /** Whether a transmitter stands in the picture where it is. */
  marks() {
    return this.stage.marks().some(({ arrow }) => arrow === null);
  }

  /** The picture as it stands, as a PNG data address. */
  snapshot() {
    this.draw();
    return this.canvas.toDataURL("image/png");
  }

  /** The same with its labels. */
  paper() {
    this.draw();
    return onPaper(this.canvas, this.root);
  }

  dispose() {
    this.#gone = true;
    if (this.#asked) cancelAnimationFrame(this.#asked);
    this.watcher.disconnect();
    for (const undo of this.#undo) undo();
    this.camera.controls.dispose();
    this.stage.dispose();
    this.renderer.dispose();
    this.renderer.forceContextLoss?.();
    this.root.remove();
    this.element.classList.remove("gc-view");
  }

  // -- drawing, only when asked

  #recolour() {
    this.stage.recolour();
    this.#request();
  }

  #request() {
    if (!this.#asked && !this.#gone) this.#asked = requestAnimationFrame(() => this.draw());
  }

  /**
   * Boxes in the view that something lies over.
   * @returns {Box[]}
   */
  #covered() {
    const own = this.root.getBoundingClientRect();
    return [...(this.options.over ?? [])].map((node) => {
      const box = node.getBoundingClientRect();
      return [box.left - own.left, box.top - own.top, box.right - own.left, box.bottom - own.top];
    });
  }

  draw() {
    this.#asked = 0;
    const { camera, stage } = this;
    if (this.#gone || camera.size[0] < 2 || camera.size[1] < 2) return;
    const begun = performance.now();
    const eye = camera.eye();
    camera.camera.updateMatrixWorld(); // labels are placed by it, before the renderer would do this
    stage.settle(eye);
    const project = (p) => camera.project(p);
    const shows = (id, spot) => this.picker.shows(id, spot);
    const wanted = calloutsOf(stage, this.inner, { eye, width: camera.size[0], project, shows });
    const lines = stage.strokes().map((ends) => ends.map(project));
    this.labels.place(wanted, camera.size, lines, this.#covered());
    this.renderer.render(stage.world, camera.camera);
    this.#counts.frames++;
    this.#counts.last_ms = performance.now() - begun;
  }

  // -- size and camera

  #fit() {
    return this.camera.fit(pointsToHold(this.stage), this.stage.scope.ring.centre);
  }

  #refit() {
    this.setCamera({ zoom: 1, target: this.#fit() });
  }

  resize() {
    const [width, height] = [this.root.clientWidth, this.root.clientHeight];
    if (width < 2 || height < 2) return;
    const first = this.camera.size[0] < 2;
    const relative = this.camera.relativeZoom;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    this.renderer.setSize(width, height, false);
    this.camera.resize([width, height]);
    this.lineSize.set(width, height);
    if (first) {
      this.home();
    } else {
      const target = this.#fit();
      this.setCamera(Math.abs(relative - 1) < 0.01 ? { zoom: 1, target } : { zoom: relative });
    }
    if (this.#asked) cancelAnimationFrame(this.#asked);
    this.draw();
  }

  // -- pointing

  /**
   * @param {string | null} id
   * @param {Point | null} [at] where its tip stands; none without
   */
  #hover(id, at = null) {
    const face = this.stage.get(id);
    const now = face ? id : null;
    if (now !== this.inner.hovered) {
      const before = this.stage.get(this.inner.hovered);
      this.inner.hovered = now;
      for (const each of [before, face]) if (each) this.stage.paint(each);
      this.stage.drawMarks(this.camera.eye());
      this.#request();
      this.options.onHover?.(now);
    }
    const text = face && at ? this.#describe(face.panel) : null;
    if (text && at) this.tip.show(text, at, this.camera.size);
    else this.tip.hide();
  }

  /** @param {PanelJson} panel */
  #describe(panel) {
    const { describe: own } = this.options;
    if (own) return own(panel);
    return describe(this.stage.scene, panel, this.inner.plan, this.inner.receiver);
  }

  /** @param {string | null} id */
  #say(id) {
    const face = this.stage.get(id);
    const { plan, receiver } = this.inner;
    this.spoken.textContent = face
      ? describe(this.stage.scene, face.panel, plan, receiver).join(". ")
      : "";
  }

  /** Faces of the room in the order in which treating them helps. */
  #ranked() {
    const rank = (face) => this.stage.leakOf(face.panel)?.rank ?? Number.MAX_SAFE_INTEGER;
    return this.stage.faces
      .filter((face) => face.stands)
      .sort((a, b) => rank(a) - rank(b))
      .map((face) => face.panel.id);
  }

  #step(by) {
    const ids = this.#ranked();
    const at = ids.indexOf(this.inner.hovered ?? this.inner.selected ?? "");
    const id = ids[(at + by + ids.length) % ids.length];
    this.hover(id);
    this.#say(id);
  }

  /** A hidden list of buttons, one a face, for the Tab key. */
  #listFaces() {
    if (!this.options.panelButtons) return;
    this.#list?.remove();
    this.#list = make("ul", "gc-spoken gc-faces", this.root);
    for (const id of this.#ranked()) {
      const face = this.stage.get(id);
      const item = make("li", "", this.#list);
      const button = /** @type {HTMLButtonElement} */ (make("button", "", item));
      button.type = "button";
      button.textContent = face ? panelName(this.stage.scene, face.panel, this.inner.receiver) : "";
      button.addEventListener("focus", () => {
        this.hover(id);
        this.#say(id);
      });
      button.addEventListener("blur", () => this.#hover(null));
      button.addEventListener("click", () => this.select(id));
    }
  }

  // -- listening

  #listen() {
    const { canvas, options, root, camera } = this;
    const wheelAlways = (options.wheel ?? "always") === "always";
    const listen = (target, name, handler) => {
      target.addEventListener(name, handler);
      this.#undo.push(() => target.removeEventListener(name, handler));
    };
    camera.controls.enableZoom = wheelAlways;
    canvas.style.touchAction = options.touchAction ?? "none";
    listenToPointer(canvas, listen, {
      pick: (x, y, slack) => this.pickAt(x, y, slack),
      hover: (id, at) => this.#hover(id, at),
      select: (id) => this.select(id),
    });
    listen(canvas, "focus", () => {
      if (canvas.matches(":focus-visible")) root.classList.add("gc-focus");
      camera.controls.enableZoom = true;
    });
    listen(canvas, "blur", () => {
      root.classList.remove("gc-focus");
      camera.controls.enableZoom = wheelAlways;
    });
    listen(canvas, "keydown", (event) => this.#key(event));
    listen(canvas, "webglcontextlost", (event) => {
      event.preventDefault();
      options.onLost?.();
    });
    camera.onTurned(() => {
      this.tip.hide();
      this.#request();
      options.onCamera?.(this.getCamera());
    });
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const act = this.#acts()[event.key] ?? this.#acts()[event.key.toLowerCase()];
    if (!act) return;
    act();
    event.preventDefault();
    event.stopPropagation();
    this.options.onCamera?.(this.getCamera());
  }

  /** @returns {Record<string, () => void>} what each key does */
  #acts() {
    const { azimuth_rad, elevation_rad, zoom } = this.getCamera();
    const lifted = (by) => Math.min(Math.max(elevation_rad + by, 0.05), Math.PI / 2 - 0.01);
    return {
      ArrowLeft: () => this.setCamera({ azimuth_rad: azimuth_rad + TURN }),
      ArrowRight: () => this.setCamera({ azimuth_rad: azimuth_rad - TURN }),
      ArrowUp: () => this.setCamera({ elevation_rad: lifted(TURN) }),
      ArrowDown: () => this.setCamera({ elevation_rad: lifted(-TURN) }),
      "+": () => this.setCamera({ zoom: zoom * 1.15 }),
      "=": () => this.setCamera({ zoom: zoom * 1.15 }),
      "-": () => this.setCamera({ zoom: zoom / 1.15 }),
      0: () => this.home(),
      Home: () => this.home(),
      n: () => this.#step(1),
      p: () => this.#step(-1),
      Enter: () => this.select(this.inner.hovered),
      Escape: () => {
        this.#hover(null);
        this.select(null);
      },
    };
  }
}
