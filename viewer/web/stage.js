// What stands in the picture: rooms, faces and their colours, lines, beams, sources.
import { PATTERNS } from "./materials.js";
import { chooseRooms, faces, OPENINGS, onRing, ringAround } from "./rooms.js";
import {
  add,
  arrowMesh,
  axesOf,
  distanceToSegment,
  dot,
  hardBox,
  mid,
  norm,
  outlinesOf,
  point,
  softBox,
  sub,
  TAU,
  turned,
  unit,
} from "./shapes.js";
import { dashesOf, diamondMesh, isNear, wayTo } from "./sightlines.js";
import { blockedArcs, gradeLines } from "./surroundings.js";
import { cividis, placeOn, rgb, shown } from "./words.js";

const AMBER = "#ffb000"; // gaps and their beams; nothing else
const AMBER_CASE = "#4a3000";
const BEAMS_AT_MOST = 4;
const STUB_M = 0.1; // height that is left of a wall before the eye
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

/** Everything in the picture of one scene. `state` is the viewer's, read and never changed here. */
export function stageOf({ THREE, brush, theme, state }) {
  const { darken, empty, flat, lamp, lines, solid } = brush;
  const world = new THREE.Scene();
  const groups = {};
  for (const name of LAYERS) {
    groups[name] = new THREE.Group();
    world.add(groups[name]);
  }
  let scene = null;
  let panels = []; // {panel, mesh, across, up, outlines, spans, small, stands}
  let byId = new Map();
  let wallBodies = []; // {wall, standing, stub}
  const places = new Map(); // where a label of each source that shows stands
  const strokes = []; // [a, b] of arrows, marks and lines of sight, which labels keep clear of
  let cast = null;
  let ring = null;
  let arcs = []; // over which something outdoors stands
  let grades = []; // where the ground outside ends on walls below it
  let signature = ""; // of the faces turned to the eye, for which lines are drawn

  function build(next) {
    scene = next;
    for (const group of Object.values(groups)) empty(group);
    panels = scene.panels.map((panel) => {
      const [across, up] = axesOf(panel.normal);
      const mesh = brush.panel(panel, [across, up], theme.neutral);
      mesh.userData.panel = panel.id;
      groups.panels.add(mesh);
      const outlines = outlinesOf(panel);
      const flatRing = outlines[0]
        .map((p) => sub(p, panel.centre))
        .map((p) => [dot(p, across), dot(p, up)]);
      const spans = [0, 1].map(
        (k) => Math.max(...flatRing.map((p) => p[k])) - Math.min(...flatRing.map((p) => p[k])),
      );
      return { panel, mesh, across, up, outlines, spans, small: Math.min(...spans) < 0.12 };
    });
    byId = new Map(panels.map((each) => [each.panel.id, each]));
    const rooms = new Map();
    for (const each of panels) {
      rooms.set(each.panel.space, [...(rooms.get(each.panel.space) ?? []), each]);
    }
    for (const mates of rooms.values()) for (const each of mates) darkenCorners(each, mates);
    wallBodies = scene.walls.map((wall) => {
      const standing = solid(wall.standing, theme.rim);
      const stub = solid(wall.stub, theme.rim);
      for (const body of [standing, stub]) body.userData.panel = wall.panel;
      groups.walls.add(standing, stub);
      return { wall, standing, stub };
    });
    for (const space of scene.spaces) {
      const base = solid(space.base, theme.plinth);
      base.userData.space = space.id;
      groups.rooms.add(base);
    }
    for (const receiver of scene.receivers) {
      for (const piece of receiver.furniture) {
        if (!(piece.kind in BED)) continue;
        const soft = SOFT[piece.kind];
        const shape = soft ? softBox(piece.size, soft) : hardBox(piece.size);
        const body = solid(turned(shape, piece.centre, piece.heading_rad), BED[piece.kind], {
          smooth: Boolean(soft),
        });
        body.userData.receiver = receiver.id;
        body.userData.space = receiver.space;
        groups.beds.add(body);
      }
    }
    arrange();
  }

  /** Edges where a panel meets another at an inner corner: there it lies in the other's shade. */
  function darkenCorners(each, mates) {
    const edges = [];
    for (const ring of each.outlines) {
      ring.forEach((a, k) => {
        const b = ring[(k + 1) % ring.length];
        const inner = mates.some(({ panel }) => {
          if (panel === each.panel || Math.abs(dot(panel.normal, each.panel.normal)) > 0.9)
            return false;
          const off = (p) => Math.abs(dot(sub(p, panel.centre), panel.normal));
          if (off(a) > 2e-3 || off(b) > 2e-3) return false;
          const middle = mid(a, b);
          const touches = outlinesOf(panel).some((other) =>
            other.some(
              (c, j) => distanceToSegment(middle, c, other[(j + 1) % other.length]) < 5e-3,
            ),
          );
          return touches && dot(sub(panel.centre, middle), each.panel.normal) > 1e-3;
        });
        if (inner) edges.push([a, b]);
      });
    }
    edges.sort((p, q) => norm(sub(q[1], q[0])) - norm(sub(p[1], p[0])));
    const local = ([a, b]) =>
      [a, b].flatMap((p) => {
        const off = sub(p, each.panel.centre);
        return [dot(off, each.across), dot(off, each.up)];
      });
    darken(each.mesh, edges.map(local), Math.min(0.55, 0.3 * Math.min(...each.spans) + 0.01));
  }

  function arrange() {
    cast = chooseRooms(scene, state);
    ring = ringAround(scene, cast);
    for (const name of ["ground", "ghosts", "sources"]) empty(groups[name]);
    const shown = (space) => cast.full.has(space);
    for (const each of panels) each.mesh.visible = each.stands = shown(each.panel.space);
    for (const body of [...groups.rooms.children, ...groups.beds.children])
      body.visible = shown(body.userData.space);
    const spaces = new Map(scene.spaces.map((space) => [space.id, space]));
    const round = [ring.centre[0], ring.centre[1], 0.6 * ring.radius, 1.02 * ring.radius];
    const ghostly = { round, order: -1 };
    for (const name of cast.low)
      groups.ghosts.add(solid(spaces.get(name).base, theme.ghost, ghostly));
    for (const wall of scene.walls) {
      if (cast.low.has(wall.space)) groups.ghosts.add(solid(wall.stub, theme.ghost, ghostly));
    }
    for (const name of cast.below) {
      groups.ghosts.add(
        solid(spaces.get(name).block, theme.ghostEdge, {
          fadeTop: ring.centre[2],
          fadeDepth: 0.3 * ring.radius,
          opacity: 0.7,
          order: -2,
          round,
        }),
      );
    }
    if (!cast.below.length) groups.ground.add(shadow());
    const ticks = [];
    for (let k = 0; k < 120; k++) {
      ticks.push([
        onRing(scene, ring, (TAU * k) / 120),
        onRing(scene, ring, (TAU * (k + 1)) / 120),
        theme.ring,
        1.6,
      ]);
    }
    for (let degrees = 0; degrees < 360; degrees += 10) {
      const inner = degrees % 90 === 0 ? 0.93 : degrees % 30 === 0 ? 0.96 : 0.98;
      const turn = (degrees * Math.PI) / 180;
      ticks.push([
        onRing(scene, ring, turn),
        onRing(scene, ring, turn, inner),
        theme.ring,
        degrees % 90 ? 1.1 : 2,
      ]);
    }
    groups.ground.add(lines(ticks, { near: 0, order: -1 }));
    arcs = blockedArcs(scene, ring);
    const dark = arcs.flatMap(({ points }) =>
      points.slice(1).map((p, k) => [points[k], p, theme.block, 5]),
    );
    if (dark.length) groups.ground.add(lines(dark, { near: 0, order: -1 }));
    sources();
    signature = "";
    recolour();
  }

  /** A soft shadow on the ground, drawn once into a small picture. */
  function shadow() {
    const side = 256;
    const page = document.createElement("canvas");
    page.width = page.height = side;
    const pen = page.getContext("2d");
    const span = 3 * ring.radius;
    const place = (x, y) => [
      side * (0.5 + (x - ring.centre[0]) / span),
      side * (0.5 + (y - ring.centre[1]) / span),
    ];
    pen.shadowColor = `rgba(0,0,0,${theme.shadow})`;
    pen.shadowBlur = 16;
    pen.shadowOffsetX = 4 * side; // only the shadow falls on the page
    for (const space of scene.spaces) {
      if (!cast.full.has(space.id) && !cast.low.has(space.id)) continue;
      for (const outline of space.outer) {
        pen.beginPath();
        for (let k = 0; k < outline.length; k += 2) {
          const [x, y] = place(outline[k], outline[k + 1]);
          pen.lineTo(x - 4 * side, y);
        }
        pen.fill();
      }
    }
    // rooms around fade at the ring, and so does their shadow
    const reach = (times) => (times * ring.radius * side) / span;
    const fading = pen.createRadialGradient(
      side / 2,
      side / 2,
      reach(0.9),
      side / 2,
      side / 2,
      reach(1.2),
    );
    fading.addColorStop(0, "rgba(0,0,0,1)");
    fading.addColorStop(1, "rgba(0,0,0,0)");
    pen.shadowColor = "transparent";
    pen.globalCompositeOperation = "destination-in";
    pen.fillStyle = fading;
    pen.fillRect(0, 0, side, side);
    const map = new THREE.CanvasTexture(page);
    map.flipY = false;
    const geometry = new THREE.PlaneGeometry(span, span);
    const uv = geometry.attributes.uv;
    for (let k = 0; k < uv.count; k++) uv.setY(k, 1 - uv.getY(k));
    const at = geometry.attributes.position;
    for (let k = 0; k < at.count; k++) {
      uv.setXY(k, 0.5 + at.getX(k) / span, 0.5 + at.getY(k) / span);
    }
    const plane = new THREE.Mesh(
      geometry,
      new THREE.MeshBasicMaterial({ map, transparent: true, depthWrite: false }),
    );
    plane.position.set(ring.centre[0], ring.centre[1], ring.centre[2] - 0.01);
    plane.renderOrder = -3;
    plane.raycast = () => {};
    return plane;
  }

  function sources() {
    empty(groups.sources);
    places.clear();
    strokes.length = 0;
    const threads = [];
    const receiver = scene.receivers[state.receiver];
    for (const source of scene.sources) {
      if (state.silent.has(source.id)) continue;
      const way = wayTo(source, receiver);
      if (isNear(source, ring)) {
        before(solid(diamondMesh(source.position, ring), theme.source));
        places.set(source.id, source.position);
        strokes.push([source.position, source.position]);
      } else if (way) {
        const level = [way[0], way[1], 0];
        const steep = norm(level) < 0.05;
        const foot = steep ? ring.centre : add(ring.centre, unit(level), ring.radius);
        const tops = scene.spaces
          .filter((space) => cast.full.has(space.id))
          .map((space) => space.top_m);
        const tip = [foot[0], foot[1], Math.max(...tops) * 0.55 + foot[2] * 0.45];
        const tail = add(tip, way, 0.3 * ring.radius);
        groups.sources.add(solid(arrowMesh(tail, tip), theme.source));
        threads.push([foot, tip, theme.source, 1.2]);
        places.set(source.id, tail);
        strokes.push([tail, tip]);
      }
    }
    if (receiver && cast.full.has(receiver.space)) {
      const near = new Set(
        scene.sources.filter((source) => isNear(source, ring)).map((source) => source.id),
      );
      const seen = scene.sights.filter(
        (sight) =>
          sight.receiver === receiver.id &&
          near.has(sight.source) &&
          !state.silent.has(sight.source),
      );
      strokes.push(
        ...seen.flatMap((sight) => sight.pieces.map((piece) => [point(piece, 0), point(piece, 1)])),
      );
      const dashes = seen.flatMap(dashesOf).map(([a, b]) => [a, b, theme.source, 1.4]);
      if (dashes.length) before(lines(dashes));
    }
    if (threads.length) groups.sources.add(lines(threads, { opacity: 0.7 }));
  }

  /** Draw something before everything that would hide it. */
  function before(body) {
    Object.assign(body.material, { depthTest: false, transparent: true });
    body.renderOrder = 8;
    groups.sources.add(body);
  }

  function leakOf(panel) {
    return panel.plans[state.plan]?.leaks[state.receiver] ?? null;
  }

  function paint(each) {
    const { panel, mesh } = each;
    const uniforms = mesh.material.uniforms;
    const leak = leakOf(panel);
    let tint = rgb(panel.kind === "reveal" ? theme.rim : theme.neutral);
    let lit = true;
    uniforms.uPattern.value = 0;
    if (state.mode === "treatment") {
      const worn = panel.plans[state.plan]?.treatments ?? [];
      const style = scene.treatments.find((each) => each.id === worn[worn.length - 1]);
      if (style) {
        tint = rgb(style.colour);
        uniforms.uPattern.value = Math.max(PATTERNS.indexOf(style.pattern), 0);
        uniforms.uInk.value.setRGB(
          ...(luminance(tint) > 0.35 ? [0.12, 0.15, 0.19] : [1, 1, 1]),
          THREE.LinearSRGBColorSpace,
        );
      }
    } else if (leak) {
      lit = false;
      tint =
        state.mode === "loss"
          ? cividis(scene, 1 - placeOn(scene.scales.loss_db, leak.loss_db, 1))
          : cividis(scene, placeOn(scene.scales.let_in_db, leak.let_in_db, 0));
    }
    uniforms.uColour.value.setRGB(...tint, THREE.LinearSRGBColorSpace);
    uniforms.uShade.value = lit ? 0.9 + 0.1 * dot(panel.normal, lamp.toArray()) : 1;
    const lift = panel.id === state.selected ? 0.1 : 0;
    uniforms.uLift.value = panel.id === state.hovered ? 0.2 : lift;
  }

  function luminance([r, g, b]) {
    return 0.2126 * r ** 2.2 + 0.7152 * g ** 2.2 + 0.0722 * b ** 2.2;
  }

  function recolour() {
    for (const each of panels) if (each.stands) paint(each);
    empty(groups.beams);
    if (state.beams) for (const beam of beamsShown()) drawBeam(beam);
    signature = "";
  }

  function beamsShown() {
    const receiver = scene.receivers[state.receiver]?.id;
    const found = [];
    scene.beams.forEach((beam, order) => {
      const plan = beam.plans[state.plan];
      const each = byId.get(beam.panel);
      if (beam.receiver !== receiver || !plan?.is_gap || !each?.stands) return;
      if (state.silent.has(beam.source) || !OPENINGS.includes(each.panel.kind)) return;
      found.push([plan.share > 0.02 ? plan.level_w_m2 : 0, order, beam, plan]);
    });
    found.sort((a, b) => b[0] - a[0] || a[1] - b[1]);
    return found.slice(0, BEAMS_AT_MOST).map(([level, , beam]) => ({ ...beam, strong: level > 0 }));
  }

  function drawBeam(beam) {
    const weight = beam.strong ? 1 : 0.5; // one that misses the receiver is fainter
    for (const { near, far } of beam.outside) {
      const count = near.length / 3;
      const slices = 12;
      const vertices = [],
        fade = [],
        triangles = [];
      const long = norm(sub(point(far, 0), point(near, 0)));
      const kept = Math.min(1, (0.42 * ring.radius) / Math.max(long, 1e-9));
      for (let s = 0; s <= slices; s++) {
        for (let k = 0; k < count; k++) {
          const a = point(near, k);
          vertices.push(...add(a, sub(point(far, k), a), (kept * s) / slices));
          fade.push((1 - s / slices) ** 1.4);
          if (s < slices) {
            const [i, j] = [s * count + k, s * count + ((k + 1) % count)];
            triangles.push(i, j, j + count, i, j + count, i + count);
          }
        }
      }
      groups.beams.add(flat(vertices, triangles, theme.beam, 0.3 * weight, fade));
    }
    const own = byId.get(beam.panel).panel;
    const off = (v, panel) => Math.abs(dot(sub(v, panel.centre), panel.normal));
    const { vertices, triangles } = beam.inside;
    const kept = [];
    for (let k = 0; k < triangles.length; k += 3) {
      const corners = triangles.slice(k, k + 3);
      if (corners.some((c) => off(point(vertices, c), own) > 1e-3)) kept.push(...corners);
    }
    if (kept.length) groups.beams.add(flat(vertices, kept, theme.beam, 0.17 * weight));
    const rims = [];
    for (const landing of beam.landings) {
      const bed = !byId.has(landing.on);
      const facing = bed ? null : byId.get(landing.on);
      const patch = flat(
        landing.vertices,
        landing.triangles,
        "#ffd27a",
        (bed ? 0.5 : 0.3) * weight,
        null,
        3e-4,
      );
      patch.material.side = THREE.FrontSide;
      patch.userData.facing = facing?.panel.normal ?? null;
      groups.beams.add(patch);
      for (const outline of outlinesOf(landing)) {
        outline.forEach((p, k) => {
          rims.push([
            p,
            outline[(k + 1) % outline.length],
            theme.beamEdge,
            1.3,
            facing?.panel.normal,
          ]);
        });
      }
    }
    const edge = lines(rims, { opacity: 0.75 * weight });
    groups.beams.add(edge);
  }

  function drawEdges(eye) {
    empty(groups.edges);
    empty(groups.gaps);
    const thin = [],
      cases = [],
      amber = [];
    const closed = (ring, tint, width, into) =>
      ring.forEach((p, k) => {
        into.push([p, ring[(k + 1) % ring.length], tint, width]);
      });
    const slopes = new Set(
      panels
        .filter(({ panel: p }) => p.kind === "ceiling" && Math.abs(p.normal[2]) < 0.999)
        .map((each) => each.panel.space),
    );
    for (const each of panels) {
      if (!each.mesh.visible) continue;
      const { panel, outlines } = each;
      const seen = faces(panel.normal, eye);
      // of a roof that is cut away, its lines alone tell the shape
      if (!seen && panel.kind === "ceiling" && slopes.has(panel.space))
        closed(outlines[0], theme.ring, 1, thin);
      const opening = OPENINGS.includes(panel.kind);
      if (seen) {
        for (const ring of outlines)
          closed(ring, opening ? theme.rim : theme.edge, opening ? 1.2 : 1, thin);
        if (panel.kind === "window") mullions(each, thin);
      }
      const leak = leakOf(panel);
      if (!leak?.is_gap) continue;
      // the jambs of an opening that is a gap itself need no lines of their own
      if (
        panel.kind === "reveal" &&
        leakOf(byId.get(panel.opening)?.panel ?? { plans: [] })?.is_gap
      )
        continue;
      const marked = [];
      if (seen || !["wall", "ceiling", "floor"].includes(panel.kind)) {
        for (const ring of outlines) closed(ring, AMBER, 3, marked);
      } else {
        for (const [a, b] of remains(each, eye)) marked.push([a, b, AMBER, 3]);
      }
      amber.push(...marked);
      cases.push(...marked.map(([a, b]) => [a, b, AMBER_CASE, 4.8]));
    }
    grades = gradeLines(
      scene,
      panels.filter((each) => each.mesh.visible && faces(each.panel.normal, eye)),
    );
    for (const [a, b] of grades) thin.push([a, b, theme.ghostEdge, 2.2]);
    groups.edges.add(lines(thin));
    groups.gaps.add(
      lines(cases, { near: 6e-4, opacity: 0.55 }),
      lines(amber, { near: 8e-4, order: 4 }),
    );
    drawMarks(eye);
  }

  function mullions({ panel, across, up, spans }, into) {
    const [w, h] = spans;
    const middle = panel.centre;
    into.push([add(middle, up, -h / 2), add(middle, up, h / 2), theme.rim, 1.2]);
    if (h > 0.9 * w)
      into.push([add(middle, across, -w / 2), add(middle, across, w / 2), theme.rim, 1.2]);
  }

  /** What is left to see of a wall or ceiling that is cut away. */
  function remains({ panel, outlines, across }, eye) {
    const ring = outlines[0];
    if (panel.kind === "wall") {
      const low = Math.min(...ring.map((p) => p[2]));
      const foot = ring.filter((p) => p[2] < low + 1e-3).sort((p, q) => dot(sub(p, q), across));
      return [[add(foot[0], [0, 0, STUB_M]), add(foot[foot.length - 1], [0, 0, STUB_M])]];
    }
    const standing = panels.filter(
      (each) =>
        each.panel.space === panel.space &&
        each.panel.kind === "wall" &&
        faces(each.panel.normal, eye),
    );
    return ring
      .map((p, k) => [p, ring[(k + 1) % ring.length]])
      .filter(([a, b]) =>
        standing.some(({ panel: wall }) =>
          [a, b].every((p) => Math.abs(dot(sub(p, wall.centre), wall.normal)) < 1e-3),
        ),
      );
  }

  function drawMarks(eye) {
    empty(groups.marks);
    const halo = [],
      ink = [];
    for (const [id, weight] of [
      [state.selected, 1],
      [state.hovered, 0.7],
    ]) {
      const each = byId.get(id);
      if (!each?.stands) continue;
      const seen = faces(each.panel.normal, eye);
      const edges = seen
        ? each.outlines.flatMap((ring) => ring.map((p, k) => [p, ring[(k + 1) % ring.length]]))
        : ["wall", "ceiling"].includes(each.panel.kind)
          ? remains(each, eye)
          : each.outlines.flatMap((ring) => ring.map((p, k) => [p, ring[(k + 1) % ring.length]]));
      for (const [a, b] of edges) {
        halo.push([a, b, theme.halo, 6.5 * weight]);
        ink.push([a, b, theme.ink, 3 * weight]);
      }
    }
    if (halo.length)
      groups.marks.add(
        lines(halo, { near: 1e-3, order: 6 }),
        lines(ink, { near: 1.2e-3, order: 7 }),
      );
  }

  function anchorOf(each, eye) {
    const { panel } = each;
    if (faces(panel.normal, eye) || !["wall", "ceiling"].includes(panel.kind))
      return panel.mark ?? panel.centre;
    const left = remains(each, eye);
    if (!left.length) return panel.mark ?? panel.centre;
    const best = left.reduce((p, q) => (norm(sub(q[1], q[0])) > norm(sub(p[1], p[0])) ? q : p));
    return mid(...best);
  }

  /** Put what depends on the eye in its place, just before drawing. */
  function settle(eye) {
    const now = panels.map((each) => (faces(each.panel.normal, eye) ? 1 : 0)).join("");
    if (now !== signature) {
      signature = now;
      for (const { wall, standing, stub } of wallBodies) {
        const shown = cast.full.has(wall.space);
        const near = !faces(wall.normal, eye);
        standing.visible = shown && !near;
        stub.visible = shown && near;
      }
      // the jambs of a window go with the wall that is cut away
      for (const { panel, mesh, stands } of panels) {
        const host = panel.kind === "reveal" ? byId.get(panel.host) : null;
        mesh.visible = stands && (!host || faces(host.panel.normal, eye));
      }
      drawEdges(eye);
    }
    for (const body of groups.beams.children) {
      if (body.userData.facing) body.visible = faces(body.userData.facing, eye);
    }
  }

  return {
    world,
    groups,
    build,
    arrange,
    recolour,
    sources,
    settle,
    drawMarks,
    paint,
    leakOf,
    anchorOf,
    get panels() {
      return panels;
    },
    get cast() {
      return cast;
    },
    get ring() {
      return ring;
    },
    get: (id) => byId.get(id),
    placeOf: (source) => places.get(source.id),
    strokes: () => strokes,
    /** Words for what is drawn of the ground and of what stands outside: {text, at}. */
    hints() {
      const found = arcs.map(({ id, points }) => ({
        text: shown(id, 24),
        at: points[Math.floor(points.length / 2)],
      }));
      const long = ([a, b]) => norm(sub(b, a));
      const longest = grades.reduce((a, b) => (a && long(a) >= long(b) ? a : b), null);
      return longest
        ? [
            ...found,
            { text: "ground level", at: add(longest[0], sub(longest[1], longest[0]), 0.2) },
          ]
        : found;
    },
    /** New numbers on the same faces. */
    renew(next) {
      scene = next;
      panels.forEach((each, k) => {
        each.panel = scene.panels[k];
      });
      byId = new Map(panels.map((each) => [each.panel.id, each]));
      sources();
      recolour();
    },
  };
}
