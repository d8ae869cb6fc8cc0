// What stands in the picture: rooms, faces and their colours, lines, beams, sources.
import { beamBodies, beamsShown } from "./beams.js";
import { colouringOf } from "./colouring.js";
import { innerEdges } from "./corners.js";
import { compassLines, shadowOf } from "./ground.js";
import { anchorOf, faceLines, markSides } from "./outlines.js";
import { chooseRooms, faces, ringAround } from "./rooms.js";
import {
  add,
  arrowMesh,
  axesOf,
  dot,
  hardBox,
  norm,
  outlinesOf,
  softBox,
  sub,
  turned,
} from "./shapes.js";
import { diamondMesh, sourcesDrawn } from "./sightlines.js";
import { blockedArcs, gradeLines } from "./surroundings.js";
import { shown } from "./words.js";

/** @import { PanelJson, SceneJson } from "./scene" */
/** @import { Face, Point, Ring, Rooms, Segment, Theme, Three, ViewState, WallBody } from "./types" */

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
  "sources",
  "marks",
];

/** @type {Record<"light" | "dark", Theme>} */
export const THEMES = {
  light: {
    ink: "#1f2730",
    edge: "#27313c",
    rim: "#f8f6f2",
    plinth: "#cdc7bb",
    ghost: "#e4dfd5",
    ghostEdge: "#b3ada1",
    neutral: "#d8d2c6",
    ring: "#8d949c",
    block: "#525c67",
    source: "#8c2f5f",
    halo: "#ffffff",
    beam: "#ffb52e",
    beamEdge: "#9a5b00",
    shadow: 0.3,
  },
  dark: {
    ink: "#f0f2f5",
    edge: "#05080c",
    rim: "#ccd3da",
    plinth: "#343d49",
    ghost: "#2c3541",
    ghostEdge: "#56616f",
    neutral: "#5a6470",
    ring: "#74808d",
    block: "#aab4bf",
    source: "#e887b4",
    halo: "#0c1015",
    beam: "#ffb52e",
    beamEdge: "#ffcf7a",
    shadow: 0.6,
  },
};
const BED = { foot: "#8f979e", slab: "#d9dde0", pillow: "#fbfaf7" };
const SOFT = { pillow: 0.16 };

/** Everything in the picture of one scene. The viewer's state is read and never changed here. */
export class Stage {
  /** @type {Face[]} */
  faces = [];
  /** @type {Rooms} */
  rooms = { full: new Set(), low: new Set(), below: [] };
  /** @type {Ring} */
  ring = { centre: [0, 0, 0], radius: 1 };
  /** @type {Record<string, Three>} */
  groups = {};
  /** @type {Map<string, Face>} */
  #byId = new Map();
  /** @type {WallBody[]} */
  #walls = [];
  /** @type {ReturnType<typeof sourcesDrawn> | null} */
  #sources = null;
  /** @type {ReturnType<typeof blockedArcs>} */
  #arcs = []; // over which something outdoors stands
  /** @type {Point[][]} */
  #grades = []; // where the ground outside ends on walls below it
  #signature = ""; // of the faces turned to the eye, for which lines are drawn

  /**
   * @param {{THREE: Three, brush: Three, theme: Theme, state: ViewState, scene: SceneJson}} given
   */
  constructor({ THREE, brush, theme, state, scene }) {
    this.THREE = THREE;
    this.brush = brush;
    this.theme = theme;
    this.state = state;
    this.scene = scene;
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
    return anchorOf(face, this.faces, eye);
  }

  /**
   * Where the label of a source that shows stands.
   * @param {{id: string}} source
   * @returns {Point | undefined}
   */
  placeOf(source) {
    return this.#sources?.places.get(source.id);
  }

  /** Ends of arrows, marks and lines of sight, which labels keep clear of. */
  strokes() {
    return this.#sources?.strokes ?? [];
  }

  /** Words for what is drawn of the ground and of what stands outside. */
  hints() {
    const found = this.#arcs.map(({ id, points }) => ({
      text: shown(id, 24),
      at: points[Math.floor(points.length / 2)],
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

  #buildBeds() {
    for (const receiver of this.scene.receivers) {
      for (const piece of receiver.furniture) {
        if (!(piece.kind in BED)) continue;
        const soft = SOFT[piece.kind];
        const shape = soft ? softBox(piece.size, soft) : hardBox(piece.size);
        const placed = turned(shape, piece.centre, piece.heading_rad);
        const body = this.brush.solid(placed, BED[piece.kind], { smooth: Boolean(soft) });
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
    this.rooms = chooseRooms(scene, this.state);
    this.ring = ringAround(scene, this.rooms);
    for (const name of ["ground", "ghosts", "sources"]) brush.empty(groups[name]);
    for (const face of this.faces) {
      face.mesh.visible = face.stands = this.rooms.full.has(face.panel.space);
    }
    for (const body of [...groups.rooms.children, ...groups.beds.children]) {
      body.visible = this.rooms.full.has(body.userData.space);
    }
    this.#drawGhosts();
    if (!this.rooms.below.length) groups.ground.add(shadowOf(this.THREE, this));
    groups.ground.add(brush.lines(compassLines(scene, this.ring, theme), { near: 0, order: -1 }));
    this.#arcs = blockedArcs(scene, this.ring);
    const dark = this.#arcs.flatMap(({ points }) =>
      points.slice(1).map((p, k) => [points[k], p, theme.block, 5]),
    );
    if (dark.length) groups.ground.add(brush.lines(dark, { near: 0, order: -1 }));
    this.placeSources();
    this.recolour();
  }

  /** Rooms around, cut low, and rooms below, both fading at the ring. */
  #drawGhosts() {
    const { brush, groups, ring, rooms, scene, theme } = this;
    const round = [ring.centre[0], ring.centre[1], 0.6 * ring.radius, 1.02 * ring.radius];
    const around = { round, order: -1 };
    for (const space of scene.spaces) {
      if (rooms.low.has(space.id)) groups.ghosts.add(brush.solid(space.base, theme.ghost, around));
    }
    for (const wall of scene.walls) {
      if (rooms.low.has(wall.space)) groups.ghosts.add(brush.solid(wall.stub, theme.ghost, around));
    }
    const under = {
      fadeTop: ring.centre[2],
      fadeDepth: 0.3 * ring.radius,
      opacity: 0.7,
      order: -2,
      round,
    };
    for (const space of scene.spaces) {
      if (!rooms.below.includes(space.id)) continue;
      groups.ghosts.add(brush.solid(space.block, theme.ghostEdge, under));
    }
  }

  /** Draw the sources that are on. */
  placeSources() {
    const { brush, groups, ring, theme } = this;
    brush.empty(groups.sources);
    const found = sourcesDrawn(this.scene, this.state, this.rooms, ring);
    this.#sources = found;
    for (const place of found.marks) {
      this.#drawBefore(brush.solid(diamondMesh(place, ring), theme.source));
    }
    for (const [tail, tip] of found.arrows) {
      groups.sources.add(brush.solid(arrowMesh(tail, tip), theme.source));
    }
    const lines = (pairs, width) => pairs.map(([a, b]) => [a, b, theme.source, width]);
    if (found.sights.length) this.#drawBefore(brush.lines(lines(found.sights, 1.4)));
    if (found.threads.length) {
      groups.sources.add(brush.lines(lines(found.threads, 1.2), { opacity: 0.7 }));
    }
  }

  /**
   * Draw something before everything that would hide it.
   * @param {Three} body
   */
  #drawBefore(body) {
    Object.assign(body.material, { depthTest: false, transparent: true });
    body.renderOrder = 8;
    this.groups.sources.add(body);
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
    const { brush, groups, ring, scene, state, theme, THREE } = this;
    for (const face of this.faces) if (face.stands) this.paint(face);
    brush.empty(groups.beams);
    const get = (id) => this.get(id);
    for (const beam of state.beams ? beamsShown(scene, state, get) : []) {
      groups.beams.add(...beamBodies(beam, { THREE, brush, theme, ring, get }));
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
    for (const body of this.groups.beams.children) {
      if (body.userData.facing) body.visible = faces(body.userData.facing, eye);
    }
  }

  /** @param {Point} eye */
  #cutAway(eye) {
    for (const { wall, standing, stub } of this.#walls) {
      const shows = this.rooms.full.has(wall.space);
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
    const { brush, groups, scene, theme } = this;
    brush.empty(groups.edges);
    brush.empty(groups.gaps);
    const { thin, cases, amber } = faceLines(this, eye, theme);
    const seen = this.faces.filter((face) => face.mesh.visible && faces(face.panel.normal, eye));
    this.#grades = gradeLines(scene, seen);
    for (const [a, b] of this.#grades) thin.push([a, b, theme.ghostEdge, 2.2]);
    groups.edges.add(brush.lines(thin));
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
      for (const [a, b] of markSides(face, this.faces, eye)) {
        halo.push([a, b, theme.halo, 6.5 * weight]);
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
