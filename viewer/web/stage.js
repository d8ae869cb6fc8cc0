// What stands in the picture: rooms, faces and their colours, lines, beams, sources.
import { beamBodies, beamsShown } from "./beams.js";
import { colouringOf } from "./colouring.js";
import { innerEdges } from "./corners.js";
import { compassLines, shadowOf } from "./ground.js";
import { anchorOf, faceLines, markSides } from "./outlines.js";
import { readingsShown } from "./readmarks.js";
import { asMoved, scopeOf } from "./scope.js";
import {
  add,
  arrowMesh,
  axesOf,
  diamondMesh,
  dot,
  edgesOf,
  faces,
  hardBox,
  norm,
  outlinesOf,
  point,
  points,
  softBox,
  sub,
  turned,
} from "./shapes.js";
import { wiringBodies } from "./wiring.js";

/** @import { MovedJson, PanelJson, SceneJson, ScopeJson, ThemeJson } from "./scene" */
/** @import { Face, Point, Segment, Three, ViewState, WallBody } from "./types" */

const BEHIND = 0.32; // how much of a transmitter's mark is seen through what stands before it
const LAYERS = [
  "ground",
  "ghosts",
  "rooms",
  "panels",
  "walls",
  "beds",
  "edges",
  "gaps",
  "beams",
  "wiring",
  "sources",
  "readings",
  "marks",
];

/** Everything in the picture of one scene. The viewer's state is read and never changed here. */
export class Stage {
  /** @type {Face[]} */
  faces = [];
  /** @type {Record<string, Three>} */
  groups = {};
  /** @type {Map<string, Face>} */
  #byId = new Map();
  /** @type {WallBody[]} */
  #walls = [];
  /** @type {Point[][]} */
  #grades = []; // where the ground outside ends on walls below it
  /** @type {MovedJson | null} */
  #moved = null; // with which beds and marks were drawn
  #signature = ""; // of the faces turned to the eye, for which lines are drawn

  /**
   * @param {{THREE: Three, brush: Three, theme: ThemeJson, state: ViewState, scene: SceneJson}} given
   */
  constructor({ THREE, brush, theme, state, scene }) {
    this.THREE = THREE;
    this.brush = brush;
    this.theme = theme;
    this.state = state;
    this.scene = scene;
    this.scope = scopeOf(scene, state);
    this.world = new THREE.Scene();
    for (const name of LAYERS) {
      this.groups[name] = new THREE.Group();
      this.world.add(this.groups[name]);
    }
    this.build(scene);
  }

  // -- what is asked of it

  /** @param {string | null | undefined} id */
  get(id) {
    return id ? this.#byId.get(id) : undefined;
  }

  /** @param {PanelJson} panel */
  leakOf(panel) {
    return panel.plans[this.state.plan]?.leaks[this.state.receiver] ?? null;
  }

  /**
   * @param {Face} face
   * @param {Point} eye
   */
  anchorOf(face, eye) {
    return anchorOf(face, this, eye);
  }

  /** Marks of the sources that are on. */
  marks() {
    return this.scope.marks.filter(({ source }) => !this.state.silent.has(source));
  }

  /** Readings under the plan that is shown, in the rooms that are. */
  readings() {
    return readingsShown(this.scene, this.state, this.scope);
  }

  /** Pieces of the lines of sight from the receiver to the transmitters that show. */
  #sights(key) {
    const { receivers, sights } = asMoved(this.scene, this.state.plan);
    const who = receivers[this.state.receiver];
    if (!who || !this.scope.full.includes(who.space)) return [];
    const near = new Set(this.marks().flatMap(({ source, arrow }) => (arrow ? [] : [source])));
    return sights
      .filter((sight) => sight.receiver === who.id && near.has(sight.source))
      .flatMap((sight) => sight[key].map(points));
  }

  /** Ends of arrows, marks and lines of sight, which labels keep clear of. */
  strokes() {
    const marks = this.marks().map(({ at, arrow }) => (arrow ? points(arrow) : [at, at]));
    return [...marks, ...this.#sights("pieces")];
  }

  /** Words for what is drawn of the ground and of what stands outside. */
  hints() {
    const found = this.scope.arcs.map((arc) => ({
      text: arc.text,
      at: point(arc.points, Math.floor(arc.points.length / 6)),
    }));
    if (!this.#grades.length) return found;
    const long = (line) => norm(sub(line[1], line[0]));
    const [a, b] = this.#grades.reduce((p, q) => (long(p) >= long(q) ? p : q));
    return [...found, { text: "ground level", at: add(a, sub(b, a), 0.2) }];
  }

  // -- what stands in it

  /** @param {SceneJson} scene */
  build(scene) {
    this.scene = scene;
    for (const group of Object.values(this.groups)) this.brush.empty(group);
    this.faces = scene.panels.map((panel) => this.#faceOf(panel));
    this.#index();
    /** @type {Map<string, Face[]>} */
    const rooms = new Map();
    for (const face of this.faces) {
      rooms.set(face.panel.space, [...(rooms.get(face.panel.space) ?? []), face]);
    }
    for (const mates of rooms.values()) for (const face of mates) this.#darken(face, mates);
    this.#buildWalls();
    this.#buildBeds();
    this.arrange();
  }

  /**
   * New numbers on the same faces.
   * @param {SceneJson} next
   */
  renew(next) {
    this.scene = next;
    this.faces.forEach((face, k) => {
      face.panel = next.panels[k];
    });
    this.#index();
    this.placeSources();
    this.recolour();
  }

  #index() {
    this.#byId = new Map(this.faces.map((face) => [face.panel.id, face]));
  }

  /**
   * @param {PanelJson} panel
   * @returns {Face}
   */
  #faceOf(panel) {
    const [across, up] = axesOf(panel.normal);
    const mesh = this.brush.panel(panel, [across, up], this.theme.neutral);
    mesh.userData.panel = panel.id;
    this.groups.panels.add(mesh);
    const outlines = outlinesOf(panel);
    const spans = [across, up].map((axis) => {
      const along = outlines[0].map((p) => dot(sub(p, panel.centre), axis));
      return Math.max(...along) - Math.min(...along);
    });
    const small = Math.min(...spans) < 0.12;
    return { panel, mesh, across, up, outlines, spans, small, stands: true };
  }

  /**
   * @param {Face} face
   * @param {Face[]} mates
   */
  #darken(face, mates) {
    const local = (edge) =>
      edge.flatMap((p) => {
        const off = sub(p, face.panel.centre);
        return [dot(off, face.across), dot(off, face.up)];
      });
    const reach = Math.min(0.55, 0.3 * Math.min(...face.spans) + 0.01);
    this.brush.darken(face.mesh, innerEdges(face, mates).map(local), reach);
  }

  #buildWalls() {
    const { brush, groups, scene, theme } = this;
    this.#walls = scene.walls.map((wall) => {
      const standing = brush.solid(wall.standing, theme.rim);
      const stub = brush.solid(wall.stub, theme.rim);
      for (const body of [standing, stub]) body.userData.panel = wall.panel;
      groups.walls.add(standing, stub);
      return { wall, standing, stub };
    });
    for (const space of scene.spaces) {
      const base = brush.solid(space.base, theme.plinth);
      base.userData.space = space.id;
      groups.rooms.add(base);
    }
  }

  /** What the plan that is shown moves. */
  #movedNow() {
    return this.scene.plans[this.state.plan]?.moved ?? null;
  }

  /** Beds, where the plan that is shown has them. */
  #buildBeds() {
    this.#moved = this.#movedNow();
    this.brush.empty(this.groups.beds);
    for (const receiver of asMoved(this.scene, this.state.plan).receivers) {
      for (const piece of receiver.furniture) {
        const look = this.scene.look.furniture[piece.kind];
        if (!look) continue;
        const soft = look.squareness;
        const shape = soft === null ? hardBox(piece.size) : softBox(piece.size, soft);
        const placed = turned(shape, piece.centre, piece.heading_rad);
        const body = this.brush.solid(placed, look.colour, { smooth: soft !== null });
        body.userData.receiver = receiver.id;
        body.userData.space = receiver.space;
        this.groups.beds.add(body);
      }
    }
  }

  // -- what shows

  /** Choose the rooms that show, and draw what lies around them. */
  arrange() {
    const { brush, groups, scene, theme } = this;
    this.scope = scopeOf(scene, this.state);
    const { ring } = this.scope;
    const full = new Set(this.scope.full);
    for (const name of ["ground", "ghosts", "sources"]) brush.empty(groups[name]);
    for (const face of this.faces) {
      face.mesh.visible = face.stands = full.has(face.panel.space);
    }
    for (const body of [...groups.rooms.children, ...groups.beds.children]) {
      body.visible = full.has(body.userData.space);
    }
    this.#drawGhosts();
    if (!this.scope.below.length) groups.ground.add(shadowOf(this.THREE, this));
    groups.ground.add(brush.lines(compassLines(scene, ring, theme), { near: 0, order: -1 }));
    for (const arc of this.scope.arcs) {
      const ends = points(arc.points);
      const lines = ends.slice(1).map((p, k) => [ends[k], p, theme.muted, 5]);
      groups.ground.add(brush.lines(lines, { near: 0, order: -1 }));
    }
    this.placeSources();
    this.recolour();
  }

  /** Rooms around, cut low, and rooms below, both fading at the ring. */
  #drawGhosts() {
    const { brush, groups, scene, scope, theme } = this;
    const { centre, radius_m } = scope.ring;
    const [low, below] = [new Set(scope.low), new Set(scope.below)];
    const round = [centre[0], centre[1], 0.6 * radius_m, 1.02 * radius_m];
    const around = { round, order: -1 };
    for (const space of scene.spaces) {
      if (low.has(space.id)) groups.ghosts.add(brush.solid(space.base, theme.ghost, around));
    }
    for (const wall of scene.walls) {
      if (low.has(wall.space)) groups.ghosts.add(brush.solid(wall.stub, theme.ghost, around));
    }
    const under = {
      fadeTop: centre[2],
      fadeDepth: 0.3 * radius_m,
      opacity: 0.7,
      order: -2,
      round,
    };
    for (const space of scene.spaces) {
      if (!below.has(space.id)) continue;
      groups.ghosts.add(brush.solid(space.block, theme.ghost_edge, under));
    }
  }

  /** Draw the sources that are on. */
  placeSources() {
    const { brush, groups, scope, theme } = this;
    brush.empty(groups.sources);
    const threads = [];
    for (const { at, arrow, hidden } of this.marks()) {
      if (arrow) {
        const [tail, tip] = points(arrow);
        groups.sources.add(brush.solid(arrowMesh(tail, tip), theme.source));
        threads.push([[tip[0], tip[1], scope.ring.centre[2]], tip, theme.source, 1.2]);
      } else {
        const body = diamondMesh(at, scope.mark_m);
        const tint = hidden ? theme.label : theme.source;
        const rim = hidden ? edgesOf(body).map(([a, b]) => [a, b, theme.source, 1.6]) : [];
        // faint through what stands before it, full where the eye reaches it
        this.#drawBefore("sources", brush.solid(body, tint, { opacity: BEHIND }));
        groups.sources.add(brush.solid(body, tint, { order: 8 }));
        if (rim.length) {
          this.#drawBefore("sources", brush.lines(rim, { opacity: BEHIND }));
          groups.sources.add(brush.lines(rim, { order: 8 }));
        }
      }
    }
    const dashes = this.#sights("dashes").map(([a, b]) => [a, b, theme.source, 1.4]);
    if (dashes.length) this.#drawBefore("sources", brush.lines(dashes));
    if (threads.length) groups.sources.add(brush.lines(threads, { opacity: 0.7 }));
  }

  /** Draw where the meter was held: a small box, which nothing hides. */
  #placeReadings() {
    const { brush, groups, scope } = this;
    brush.empty(groups.readings);
    const edge = 1.1 * scope.mark_m;
    for (const { at, colour } of this.readings()) {
      const box = turned(hardBox([edge, edge, edge]), at, 0);
      this.#drawBefore("readings", brush.solid(box, colour));
    }
  }

  /**
   * Draw something before everything that would hide it.
   * @param {string} group
   * @param {Three} body
   */
  #drawBefore(group, body) {
    Object.assign(body.material, { depthTest: false, transparent: true });
    body.renderOrder = 8;
    this.groups[group].add(body);
  }

  // -- colours

  /** @param {Face} face */
  paint(face) {
    const { panel, mesh } = face;
    const { uColour, uInk, uLift, uPattern, uShade } = mesh.material.uniforms;
    const { state, theme } = this;
    const found = colouringOf(this.scene, panel, state, this.leakOf(panel), theme);
    const space = this.THREE.LinearSRGBColorSpace;
    uPattern.value = found.pattern;
    if (found.ink) uInk.value.setRGB(...found.ink, space);
    uColour.value.setRGB(...found.tint, space);
    uShade.value = found.lit ? 0.9 + 0.1 * dot(panel.normal, this.brush.lamp.toArray()) : 1;
    const lift = panel.id === state.selected ? 0.1 : 0;
    uLift.value = panel.id === state.hovered ? 0.2 : lift;
  }

  /** Colours, beams and lines for another plan, receiver or way of colouring. */
  recolour() {
    if (this.#moved !== this.#movedNow()) {
      this.#buildBeds();
      this.arrange();
      return;
    }
    const { brush, groups, scene, scope, state, theme, THREE } = this;
    const given = { THREE, brush, look: scene.look, theme, ring: scope.ring };
    for (const face of this.faces) if (face.stands) this.paint(face);
    brush.empty(groups.beams);
    this.#placeReadings();
    const get = (id) => this.get(id);
    const wired = state.mode === "wiring";
    brush.empty(groups.wiring);
    groups.sources.visible = !wired;
    if (wired) groups.wiring.add(...wiringBodies(scene, state, { brush, theme, scope, get }));
    for (const beam of state.beams && !wired ? beamsShown(scene, state, get) : []) {
      for (const body of beamBodies(beam, { ...given, get })) {
        body.userData.beam = beam.panel;
        groups.beams.add(body);
      }
    }
    this.#signature = "";
  }

  // -- what depends on the eye

  /**
   * Put what depends on the eye in its place, just before drawing.
   * @param {Point} eye
   */
  settle(eye) {
    const now = this.faces.map(({ panel }) => (faces(panel.normal, eye) ? 1 : 0)).join("");
    if (now !== this.#signature) {
      this.#signature = now;
      this.#cutAway(eye);
      this.#drawEdges(eye);
    }
    for (const body of [...this.groups.beams.children, ...this.groups.wiring.children]) {
      if (body.userData.facing) body.visible = faces(body.userData.facing, eye);
    }
  }

  /** @param {Point} eye */
  #cutAway(eye) {
    const full = new Set(this.scope.full);
    for (const { wall, standing, stub } of this.#walls) {
      const shows = full.has(wall.space);
      const near = !faces(wall.normal, eye);
      standing.visible = shows && !near;
      stub.visible = shows && near;
    }
    // the jambs of a window go with the wall that is cut away
    for (const { panel, mesh, stands } of this.faces) {
      const host = panel.kind === "reveal" ? this.get(panel.host) : null;
      mesh.visible = stands && (!host || faces(host.panel.normal, eye));
    }
  }

  /** @param {Point} eye */
  #drawEdges(eye) {
    const { brush, groups, theme } = this;
    brush.empty(groups.edges);
    brush.empty(groups.gaps);
    const { thin, cases, amber } = faceLines(this, eye, theme);
    const seen = this.faces.filter((face) => face.mesh.visible && faces(face.panel.normal, eye));
    this.#grades = seen.flatMap(({ panel }) => panel.ground_lines.map(points));
    for (const [a, b] of this.#grades) thin.push([a, b, theme.ghost_edge, 2.2]);
    groups.edges.add(brush.lines(thin));
    if (this.state.mode !== "wiring")
      groups.gaps.add(
        brush.lines(cases, { near: 6e-4, opacity: 0.55 }),
        brush.lines(amber, { near: 8e-4, order: 4 }),
      );
    this.drawMarks(eye);
  }

  /**
   * Lines around the faces that are picked and pointed at.
   * @param {Point} eye
   */
  drawMarks(eye) {
    const { brush, groups, state, theme } = this;
    brush.empty(groups.marks);
    /** @type {Segment[]} */
    const halo = [];
    /** @type {Segment[]} */
    const ink = [];
    /** @type {Array<[string | null, number]>} */
    const marked = [
      [state.selected, 1],
      [state.hovered, 0.7],
    ];
    for (const [id, weight] of marked) {
      const face = this.get(id);
      if (!face?.stands) continue;
      for (const [a, b] of markSides(face, this, eye)) {
        halo.push([a, b, theme.label, 6.5 * weight]);
        ink.push([a, b, theme.ink, 3 * weight]);
      }
    }
    if (!halo.length) return;
    groups.marks.add(
      brush.lines(halo, { near: 1e-3, order: 6 }),
      brush.lines(ink, { near: 1.2e-3, order: 7 }),
    );
  }

  /** Give back what the graphics memory holds. */
  dispose() {
    for (const group of Object.values(this.groups)) this.brush.empty(group);
  }
}
