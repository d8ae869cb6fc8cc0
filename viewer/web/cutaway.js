// The cutaway: a room in parallel projection, near walls taken away, coloured by what it lets in.
//
//   const view = mount(element, { THREE, OrbitControls }, scene, options)
//
// `scene` is the JSON of viewer/scene/to_json.py. `element` must have a size; its class becomes `gc-view`
// and cutaway.css styles what is put inside. Nothing is drawn unless something has changed.
// mount() throws where the browser has no WebGL, and leaves the element as it was.
//
// options (all may be left out):
//   plan, receiver      index to begin with                     mode      "treatment" | "loss" | "let-in"
//   beams               true                                    theme     "light" | "dark"
//   storeys             {mode: "room"} | {mode: "one", id} | {mode: "all"} | {mode: "peel", count}
//   wheel               "focus": zoom only once the view has the focus; "always"
//   touchAction         CSS value; "pan-y" lets a page scroll on a phone
//   panelButtons        a hidden list of buttons, one a face, for the Tab key
//   describe(panel)     [title, line, line …] for the tip; null for none
//   over                elements that lie over the view, which labels keep clear of
//   onPick(id|null, panel), onHover(id|null), onCamera(camera), onLost()

import { onPaper } from "./export_png.js";
import { labelsIn } from "./labels.js";
import { brushOf } from "./materials.js";
import { bestAzimuth, faces, onRing } from "./rooms.js";
import { add, cross, distanceToSegment, dot, sub, TAU, unit } from "./shapes.js";
import { isNear, labelOf } from "./sightlines.js";
import { stageOf, THEMES } from "./stage.js";
import { describe, panelName, percent, shown } from "./words.js";

const REACH_M = 60; // from the target to the eye: a direction only, in parallel projection
const ELEVATION = 0.6;

export function mount(element, { THREE, OrbitControls }, firstScene, options = {}) {
  const renderer = new THREE.WebGLRenderer({ antialias: true, alpha: true }); // throws without WebGL
  const theme = THEMES[options.theme] ?? THEMES.light;
  const make = (tag, name, parent) => {
    const node = document.createElement(tag);
    node.className = name;
    parent.append(node);
    return node;
  };
  element.classList.add("gc-view");
  const root = make("div", "gc-root", element);
  const canvas = renderer.domElement;
  canvas.className = "gc-canvas";
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "application");
  canvas.setAttribute("aria-roledescription", "3D view");
  canvas.setAttribute(
    "aria-label",
    "Cutaway of the room. Arrow keys turn it, plus and minus zoom, 0 goes back, " +
      "N and P go from face to face, Enter picks the face, Escape lets go.",
  );
  root.append(canvas);
  const labels = labelsIn(root);
  const tip = make("div", "gc-tip", root);
  tip.hidden = true;
  tip.setAttribute("aria-hidden", "true");
  const spoken = make("p", "gc-spoken", root);
  spoken.setAttribute("aria-live", "polite");

  let scene = firstScene;
  const state = {
    plan: options.plan ?? 0,
    receiver: options.receiver ?? 0,
    mode: options.mode ?? "let-in",
    beams: options.beams ?? true,
    storeys: options.storeys ?? { mode: "room" },
    silent: new Set(), // sources that are off
    hovered: null,
    selected: null,
  };
  const stats = { frames: 0, last_ms: 0, rebuilds: 0 };

  const caster = new THREE.Raycaster();
  const camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -400, 800);
  camera.up.set(0, 0, 1);
  const controls = new OrbitControls(camera, canvas);
  controls.enableDamping = false;
  controls.maxPolarAngle = 0.49 * Math.PI;
  controls.enableZoom = (options.wheel ?? "always") === "always";
  controls.screenSpacePanning = true;
  canvas.style.touchAction = options.touchAction ?? "none";
  let homeZoom = 1;
  let size = [1, 1];
  let asked = 0;
  let gone = false;

  const lineSize = new THREE.Vector2(1, 1);
  const brush = brushOf({ THREE, size: lineSize });
  const stage = stageOf({ THREE, brush, theme, state });

  const eyeWay = () => unit(sub(camera.position.toArray(), controls.target.toArray()));

  // -- labels

  function project(p) {
    const v = new THREE.Vector3(...p).project(camera);
    return [((v.x + 1) / 2) * size[0], ((1 - v.y) / 2) * size[1]];
  }

  function wantedLabels(eye) {
    const narrow = size[0] < 520;
    // before everything: without north a picture tells no direction
    const found = [
      ["N", 0],
      ["E", 90],
      ["S", 180],
      ["W", 270],
    ].map(([letter, degrees]) => ({
      kind: "compass",
      text: letter,
      at: project(onRing(scene, stage.ring, (degrees * Math.PI) / 180, 1.08)),
      near: true,
    }));
    if (state.mode === "treatment") found.push(...codes(eye));
    const leaks = stage.panels
      .filter((each) => each.stands && (stage.leakOf(each.panel)?.share ?? 0) > 0.003)
      .sort((a, b) => stage.leakOf(b.panel).share - stage.leakOf(a.panel).share);
    for (const each of leaks.slice(0, narrow ? 3 : 4)) {
      const leak = stage.leakOf(each.panel);
      const name = panelName(scene, each.panel, state.receiver);
      const { stands } = each.panel.plans[state.plan];
      const named = stands ? `${name}, ${stands}` : name;
      const worn =
        each.panel.plans[state.plan].treatments.map((id) => shown(id, 24)).join(" + ") ||
        "untreated";
      found.push({
        kind: leak.is_gap ? "gap" : "face",
        text: narrow
          ? `${named}: ${percent(leak.share)}`
          : `${named}, ${worn}: ${percent(leak.share)}`,
        at: project(stage.anchorOf(each, eye)),
        away: each.small || !faces(each.panel.normal, eye) ? 16 : 0,
      });
    }
    for (const source of scene.sources) {
      const at = stage.placeOf(source);
      if (at) {
        const text = narrow
          ? shown(source.id, 24)
          : labelOf(scene, source, scene.receivers[state.receiver], stage.ring, source.label);
        found.push({ kind: "source", text, at: project(at), away: 8 });
      }
    }
    const receiver = scene.receivers[state.receiver];
    if (receiver && stage.cast.full.has(receiver.space)) {
      found.push({
        kind: "receiver",
        text: shown(receiver.id, 24),
        at: project(receiver.position),
        away: 16,
      });
    }
    for (const { text, at } of stage.hints())
      found.push({ kind: "hint", text, at: project(at), away: 8 });
    return found;
  }

  /** The letters of their treatments on the faces that show. */
  function codes(eye) {
    const letters = new Map(scene.treatments.map((style) => [style.id, style.letter]));
    return stage.panels
      .filter(({ panel, stands }) => stands && panel.area_m2 > 0.25 && faces(panel.normal, eye))
      .map(({ panel }) => ({
        kind: "code",
        text: panel.plans[state.plan].treatments.map((id) => letters.get(id)).join("+"),
        at: project(panel.mark ?? panel.centre),
        fixed: true,
      }))
      .filter(({ text }) => text);
  }

  // -- drawing, only when asked

  function recolour() {
    stage.recolour();
    request();
  }

  function request() {
    if (!asked && !gone) asked = requestAnimationFrame(draw);
  }

  /** Boxes in the view that something lies over. */
  function covered() {
    const own = root.getBoundingClientRect();
    return [...(options.over ?? [])].map((node) => {
      const box = node.getBoundingClientRect();
      return [box.left - own.left, box.top - own.top, box.right - own.left, box.bottom - own.top];
    });
  }

  function draw() {
    asked = 0;
    if (gone || size[0] < 2 || size[1] < 2) return;
    const begun = performance.now();
    const eye = eyeWay();
    camera.updateMatrixWorld(); // labels are placed by it, before the renderer would do this
    stage.settle(eye);
    labels.place(
      wantedLabels(eye),
      size,
      stage.strokes().map((ends) => ends.map(project)),
      covered(),
    );
    renderer.render(stage.world, camera);
    stats.frames++;
    stats.last_ms = performance.now() - begun;
  }

  // -- camera

  function setEye(azimuth, elevation) {
    const level = Math.cos(elevation);
    const way = [level * Math.sin(azimuth), level * Math.cos(azimuth), Math.sin(elevation)];
    camera.position.set(...add(controls.target.toArray(), way, REACH_M));
    controls.update();
    camera.updateMatrixWorld(); // it turned after it was moved
  }

  function getCamera() {
    const way = eyeWay();
    return {
      azimuth_rad: (Math.atan2(way[0], way[1]) + TAU) % TAU,
      elevation_rad: Math.asin(Math.min(Math.max(way[2], -1), 1)),
      zoom: camera.zoom / homeZoom,
      target: controls.target.toArray(),
    };
  }

  let quiet = false;
  function setCamera({ azimuth_rad, elevation_rad, zoom, target }) {
    const old = getCamera();
    quiet = true;
    if (target) controls.target.set(...target);
    camera.zoom = homeZoom * (zoom ?? old.zoom);
    camera.updateProjectionMatrix();
    setEye(azimuth_rad ?? old.azimuth_rad, elevation_rad ?? old.elevation_rad);
    quiet = false;
    request();
  }

  function fit() {
    const eye = eyeWay();
    const right = unit(cross([0, 0, 1], eye));
    const up = cross(eye, right);
    const points = [];
    for (let k = 0; k < 24; k++) points.push(onRing(scene, stage.ring, (TAU * k) / 24, 1.04));
    for (const space of scene.spaces) {
      if (!stage.cast.full.has(space.id)) continue;
      for (const outline of space.outer) {
        for (let k = 0; k < outline.length; k += 2)
          points.push([outline[k], outline[k + 1], space.top_m]);
      }
    }
    for (const source of scene.sources) {
      const place = stage.placeOf(source);
      if (place) points.push(place);
      if (place && isNear(source, stage.ring))
        points.push(add(place, [0, 0, -0.07 * stage.ring.radius]));
    }
    const spread = (axis) => {
      const values = points.map((p) => dot(p, axis));
      return [Math.min(...values), Math.max(...values)];
    };
    const [l, r] = spread(right);
    const [b, t] = spread(up);
    const margin = size[0] < 520 ? 14 : 26;
    homeZoom = Math.min((size[0] - 2 * margin) / (r - l), (size[1] - 2 * margin) / (t - b));
    const depth = dot(stage.ring.centre, eye);
    const target = add(add(add([0, 0, 0], right, (l + r) / 2), up, (b + t) / 2), eye, depth);
    return target;
  }

  function home() {
    const azimuth = bestAzimuth(scene, stage.panels, state.receiver);
    setCamera({
      azimuth_rad: azimuth,
      elevation_rad: ELEVATION,
      zoom: 1,
      target: stage.ring.centre,
    });
    const target = fit();
    setCamera({ azimuth_rad: azimuth, elevation_rad: ELEVATION, zoom: 1, target });
    options.onCamera?.(getCamera());
  }

  function refit() {
    const { azimuth_rad, elevation_rad } = getCamera();
    setCamera({ azimuth_rad, elevation_rad, zoom: 1, target: fit() });
  }

  function resize() {
    const [width, height] = [root.clientWidth, root.clientHeight];
    if (width < 2 || height < 2) return;
    const first = size[0] < 2;
    const relative = camera.zoom / homeZoom;
    size = [width, height];
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.setSize(width, height, false);
    Object.assign(camera, {
      left: -width / 2,
      right: width / 2,
      top: height / 2,
      bottom: -height / 2,
    });
    lineSize.set(width, height);
    if (first) {
      home();
    } else {
      const target = fit();
      setCamera(Math.abs(relative - 1) < 0.01 ? { zoom: 1, target } : { zoom: relative });
    }
    camera.updateProjectionMatrix();
    if (asked) cancelAnimationFrame(asked);
    draw();
  }

  // -- pointing

  /** Id of the face under a point of the element, near walls and hidden faces left out. */
  function pickAt(x, y, slack = 9) {
    const eye = eyeWay();
    const narrow = stage.panels.filter(
      (each) => each.mesh.visible && each.small && stage.leakOf(each.panel)?.is_gap,
    );
    const met = meets(x, y, [
      stage.groups.panels,
      stage.groups.walls,
      stage.groups.beds,
      stage.groups.rooms,
    ]);
    let best = [slack, null];
    for (const each of narrow) {
      if (!faces(each.panel.normal, eye)) continue;
      for (const outline of each.outlines) {
        const flatRing = outline.map((p) => [...project(p), 0]);
        flatRing.forEach((p, k) => {
          const away = distanceToSegment([x, y, 0], p, flatRing[(k + 1) % flatRing.length]);
          if (away < best[0]) best = [away, each.panel.id];
        });
      }
    }
    if (best[1]) return best[1];
    return met?.object.userData.panel ?? null;
  }

  /** The nearest thing that shows under a point. */
  function meets(x, y, solids) {
    caster.setFromCamera(new THREE.Vector2((2 * x) / size[0] - 1, 1 - (2 * y) / size[1]), camera);
    return caster.intersectObjects(solids, true).find((hit) => hit.object.visible);
  }

  function hover(id, at) {
    if (id !== null && !stage.get(id)) id = null;
    const changed = id !== state.hovered;
    if (changed) {
      const before = stage.get(state.hovered);
      state.hovered = id;
      for (const each of [before, stage.get(id)]) if (each) stage.paint(each);
      stage.drawMarks(eyeWay());
      request();
      options.onHover?.(id);
    }
    showTip(id, at);
  }

  function showTip(id, at) {
    const each = stage.get(id);
    if (!each || !at) {
      tip.hidden = true;
      return;
    }
    const text = options.describe
      ? options.describe(each.panel)
      : describe(scene, each.panel, state.plan, state.receiver);
    if (!text) {
      tip.hidden = true;
      return;
    }
    const nodes = text.map((line, k) => {
      const node = document.createElement(k ? "span" : "strong");
      node.textContent = line;
      return node;
    });
    tip.replaceChildren(...nodes);
    tip.hidden = false;
    const x = Math.min(Math.max(at[0] + 16, 4), Math.max(size[0] - tip.offsetWidth - 4, 4));
    const below = at[1] + 18 + tip.offsetHeight < size[1];
    const y = below ? at[1] + 18 : Math.max(at[1] - tip.offsetHeight - 14, 4);
    tip.style.transform = `translate(${Math.round(x)}px, ${Math.round(y)}px)`;
  }

  function select(id, { tell = true } = {}) {
    if (id !== null && !stage.get(id)) id = null;
    const before = stage.get(state.selected);
    state.selected = id;
    for (const each of [before, stage.get(id)]) if (each) stage.paint(each);
    stage.drawMarks(eyeWay());
    request();
    if (tell) options.onPick?.(id, stage.get(id)?.panel ?? null);
  }

  function say(id) {
    const each = stage.get(id);
    spoken.textContent = each
      ? describe(scene, each.panel, state.plan, state.receiver).join(". ")
      : "";
  }

  /** Faces of the room in the order of what they let in. */
  function ranked() {
    return stage.panels
      .filter((each) => each.stands)
      .sort((a, b) => (stage.leakOf(b.panel)?.share ?? -1) - (stage.leakOf(a.panel)?.share ?? -1))
      .map((each) => each.panel.id);
  }

  function step(by) {
    const ids = ranked();
    const at = ids.indexOf(state.hovered ?? state.selected);
    const id = ids[(at + by + ids.length) % ids.length];
    const each = stage.get(id);
    hover(id, project(stage.anchorOf(each, eyeWay())));
    say(id);
  }

  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  let pressed = null;
  let pending = null;
  const listeners = [];
  const listen = (target, name, handler, more) => {
    target.addEventListener(name, handler, more);
    listeners.push(() => target.removeEventListener(name, handler, more));
  };
  listen(canvas, "pointerdown", (event) => {
    pressed = event.isPrimary ? { at: at(event), time: performance.now(), moved: false } : null;
  });
  listen(canvas, "pointermove", (event) => {
    const here = at(event);
    if (pressed && Math.hypot(here[0] - pressed.at[0], here[1] - pressed.at[1]) > 5)
      pressed.moved = true;
    if (event.buttons || event.pointerType === "touch") return;
    if (pending === null) {
      requestAnimationFrame(() => {
        if (!gone && pending) hover(pickAt(...pending), pending);
        pending = null;
      });
    }
    pending = here;
  });
  listen(canvas, "pointerup", (event) => {
    if (!pressed || pressed.moved || performance.now() - pressed.time > 800) return;
    const touch = event.pointerType === "touch";
    const id = pickAt(...pressed.at, touch ? 18 : 9);
    if (touch) hover(id, pressed.at);
    select(id);
    pressed = null;
  });
  listen(canvas, "pointerleave", (event) => {
    pending = null;
    if (event.pointerType !== "touch") hover(null);
  });
  listen(canvas, "focus", () => {
    if (canvas.matches(":focus-visible")) root.classList.add("gc-focus");
    controls.enableZoom = true;
  });
  listen(canvas, "blur", () => {
    root.classList.remove("gc-focus");
    controls.enableZoom = (options.wheel ?? "always") === "always";
  });
  listen(canvas, "keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const { azimuth_rad, elevation_rad, zoom } = getCamera();
    const turn = Math.PI / 30;
    const lifted = (by) => Math.min(Math.max(elevation_rad + by, 0.05), Math.PI / 2 - 0.01);
    const keys = {
      ArrowLeft: () => setCamera({ azimuth_rad: azimuth_rad + turn }),
      ArrowRight: () => setCamera({ azimuth_rad: azimuth_rad - turn }),
      ArrowUp: () => setCamera({ elevation_rad: lifted(turn) }),
      ArrowDown: () => setCamera({ elevation_rad: lifted(-turn) }),
      "+": () => setCamera({ zoom: zoom * 1.15 }),
      "=": () => setCamera({ zoom: zoom * 1.15 }),
      "-": () => setCamera({ zoom: zoom / 1.15 }),
      0: home,
      Home: home,
      n: () => step(1),
      p: () => step(-1),
      Enter: () => select(state.hovered),
      Escape: () => {
        hover(null);
        select(null);
      },
    };
    const act = keys[event.key] ?? keys[event.key.toLowerCase()];
    if (!act) return;
    act();
    event.preventDefault();
    event.stopPropagation();
    options.onCamera?.(getCamera());
  });
  controls.addEventListener("change", () => {
    if (quiet) return;
    tip.hidden = true;
    request();
    options.onCamera?.(getCamera());
  });
  listen(canvas, "webglcontextlost", (event) => {
    event.preventDefault();
    options.onLost?.();
  });
  const watcher = new ResizeObserver(resize);

  let list = null;
  function panelList() {
    if (!options.panelButtons) return;
    list?.remove();
    list = make("ul", "gc-spoken gc-faces", root);
    for (const id of ranked()) {
      const item = make("li", "", list);
      const button = make("button", "", item);
      button.type = "button";
      button.textContent = panelName(scene, stage.get(id).panel, state.receiver);
      button.addEventListener("focus", () => {
        hover(id, project(stage.anchorOf(stage.get(id), eyeWay())));
        say(id);
      });
      button.addEventListener("blur", () => hover(null));
      button.addEventListener("click", () => select(id));
    }
  }

  stage.build(scene);
  resize();
  watcher.observe(root);
  panelList();

  return {
    get state() {
      return { ...state, silent: [...state.silent] };
    },
    get stats() {
      return { ...stats, panels: stage.panels.length, calls: renderer.info.render.calls };
    },
    setPlan(index) {
      state.plan = index;
      recolour();
    },
    setReceiver(index) {
      state.receiver = index;
      stage.arrange();
      home();
      panelList();
    },
    setMode(mode) {
      state.mode = mode;
      recolour();
    },
    setBeams(on) {
      state.beams = on;
      recolour();
    },
    setStoreys(storeys) {
      state.storeys = storeys;
      stage.arrange();
      refit();
      panelList();
    },
    /** Sources that are off, by id. */
    setSilent(ids) {
      state.silent = new Set(ids);
      stage.sources();
      recolour();
    },
    /** A new scene; `same` says that only its numbers, plans and treatments have changed. */
    setScene(next, { same = false } = {}) {
      scene = next;
      state.plan = Math.min(state.plan, scene.plans.length - 1);
      state.receiver = Math.min(state.receiver, Math.max(scene.receivers.length - 1, 0));
      labels.forget();
      if (same) {
        stage.renew(scene);
        request();
      } else {
        const kept = getCamera();
        stage.build(scene);
        setCamera(kept);
      }
    },
    select,
    hover: (id) => hover(id, id === null ? null : project(stage.anchorOf(stage.get(id), eyeWay()))),
    highlight: (id) => hover(id), // without a tip
    pickAt,
    project: (id) => (stage.get(id) ? project(stage.anchorOf(stage.get(id), eyeWay())) : null),
    getCamera,
    setCamera,
    home,
    zoom: (factor) => setCamera({ zoom: getCamera().zoom * factor }),
    resize,
    draw,
    /** Whether a transmitter stands in the picture where it is. */
    marks: () =>
      scene.sources.some((source) => stage.placeOf(source) && isNear(source, stage.ring)),
    /** The picture as it stands, as a PNG data address. */
    snapshot() {
      draw();
      return canvas.toDataURL("image/png");
    },
    /** The same with its labels. */
    paper() {
      draw();
      return onPaper(canvas, root);
    },
    dispose() {
      gone = true;
      if (asked) cancelAnimationFrame(asked);
      watcher.disconnect();
      for (const undo of listeners) undo();
      controls.dispose();
      for (const group of Object.values(stage.groups)) brush.empty(group);
      renderer.dispose();
      renderer.forceContextLoss?.();
      root.remove();
      element.classList.remove("gc-view");
    },
  };
}
