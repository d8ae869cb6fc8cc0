import assert from "node:assert/strict";
import { test } from "node:test";

import { beamsShown } from "../../viewer/web/beams.js";
import { calloutsOf } from "../../viewer/web/callouts.js";
import { fitted, pointsToHold, wayOf } from "../../viewer/web/camera.js";
import { colouringOf } from "../../viewer/web/colouring.js";
import { innerEdges } from "../../viewer/web/corners.js";
import { anchorOf, faceLines, remains } from "../../viewer/web/outlines.js";
import { nearestNarrow, tipPlace } from "../../viewer/web/pointing.js";
import { axesOf, cross, dot, outlinesOf, sub, unit } from "../../viewer/web/shapes.js";
import { sourcesDrawn } from "../../viewer/web/sightlines.js";
import { firstState, roomScene } from "./room.mjs";

const THEME = { edge: "#111111", rim: "#222222", ring: "#333333", neutral: "#808080" };
const RING = { centre: [2, 1.5, 0], radius: 3 };
const ROOMS = { full: new Set(["den"]), low: new Set(), below: [] };

/** The stage without three.js. */
function stageOf(scene, state) {
  const faces = scene.panels.map((panel) => {
    const [across, up] = axesOf(panel.normal);
    const outlines = outlinesOf(panel);
    const spans = [across, up].map((axis) => {
      const along = outlines[0].map((p) => dot(sub(p, panel.centre), axis));
      return Math.max(...along) - Math.min(...along);
    });
    return {
      panel,
      across,
      up,
      outlines,
      spans,
      small: false,
      stands: true,
      mesh: { visible: true },
    };
  });
  const drawn = sourcesDrawn(scene, state, ROOMS, RING);
  return {
    scene,
    faces,
    rooms: ROOMS,
    ring: RING,
    get: (id) => faces.find((face) => face.panel.id === id),
    leakOf: (panel) => panel.plans[state.plan]?.leaks[state.receiver] ?? null,
    anchorOf: (face, eye) => anchorOf(face, faces, eye),
    placeOf: (source) => drawn.places.get(source.id),
    hints: () => [],
  };
}

const FROM_NORTH = unit([0.2, 1, 0.7]); // the south wall shows, the north wall is cut away

test("the most important labels come first: the compass, then what lets in most", () => {
  const state = firstState();
  const stage = stageOf(roomScene(), state);
  const seen = { eye: FROM_NORTH, width: 900, project: (p) => p };
  const found = calloutsOf(stage, state, seen);
  assert.deepEqual(
    found.slice(0, 4).map(({ text }) => text),
    ["N", "E", "S", "W"],
  );
  assert.deepEqual(
    found.slice(4).map(({ kind, text }) => `${kind} ${text}`),
    [
      "gap window W1, untreated: 90\u00a0%",
      "face south wall (1), untreated: 10\u00a0%",
      "source mast, azimuth 180°, level",
      "receiver pillow",
    ],
  );
  const narrow = calloutsOf(stage, state, { ...seen, width: 400 });
  assert.equal(narrow[4].text, "window W1: 90\u00a0%");
});

test("letters of treatments stand on faces that are turned to the eye, in that mode alone", () => {
  const scene = roomScene();
  for (const at of [0, 2]) scene.panels[at].plans[0].treatments = ["film"];
  const state = { ...firstState(), mode: "treatment" };
  const seen = { eye: FROM_NORTH, width: 900, project: (p) => p };
  const codes = calloutsOf(stageOf(scene, state), state, seen).filter(
    ({ kind }) => kind === "code",
  );
  assert.deepEqual(
    codes.map(({ text, at }) => [text, at]),
    [["A", [2, 0, 1.25]]],
  );
});

test("a wall that is cut away leaves a line at its foot, which carries its label", () => {
  const state = firstState();
  const { faces } = stageOf(roomScene(), state);
  const north = faces[2];
  const [line] = remains(north, faces, FROM_NORTH);
  assert.deepEqual(
    line.map((p) => p[2]),
    [0.1, 0.1],
  );
  assert.deepEqual(anchorOf(north, faces, FROM_NORTH), [2, 3, 0.1]);
  assert.deepEqual(anchorOf(faces[0], faces, FROM_NORTH), [2, 0, 1.25]);
});

test("of a ceiling that is cut away the edges on standing walls remain", () => {
  const { faces } = stageOf(roomScene(), firstState());
  const left = remains(faces[5], faces, FROM_NORTH);
  // south and west walls stand: with the eye in the north-east two edges are left
  assert.equal(left.length, 2);
});

test("only gaps are outlined in amber, each with its casing", () => {
  const { thin, cases, amber } = faceLines(stageOf(roomScene(), firstState()), FROM_NORTH, THEME);
  assert.equal(amber.length, 4); // the window's sides
  assert.equal(cases.length, amber.length);
  assert.ok(amber.every(([a, b]) => a[1] === 0 && b[1] === 0));
  assert.ok(thin.length > 12);
});

test("the jambs of a window that is a gap have no lines of their own", () => {
  const scene = roomScene();
  const jamb = structuredClone(scene.panels[6]);
  scene.panels.push({ ...jamb, id: "den/W1/sill", kind: "reveal", opening: "den/W1" });
  const lines = () => faceLines(stageOf(scene, firstState()), FROM_NORTH, THEME).amber.length;
  assert.equal(lines(), 4);
  scene.panels[6].plans[0].leaks[0].is_gap = false;
  assert.equal(lines(), 4); // now the jamb's own
});

test("every corner of a box room darkens its face", () => {
  const { faces } = stageOf(roomScene(), firstState());
  assert.equal(innerEdges(faces[0], faces).length, 4);
  assert.equal(innerEdges(faces[6], faces).length, 0); // a window lies within its wall
});

test("a colour of a scale is never changed by light, that of a treatment is", () => {
  const scene = roomScene();
  const leak = scene.panels[6].plans[0].leaks[0];
  const seen = (mode, given) =>
    colouringOf(scene, scene.panels[6], { ...firstState(), mode }, given, THEME);
  assert.equal(seen("let-in", leak).lit, false);
  assert.equal(seen("let-in", null).lit, true);
  // −10 dB of −30 to 0 is two thirds; a loss of 3 of 40 dB is bright
  assert.ok(Math.abs(seen("let-in", leak).tint[0] - (0.502 + (1 / 3) * 0.498)) < 2e-3);
  assert.ok(seen("loss", leak).tint[0] > 0.9);
  scene.panels[6].plans[0].treatments = ["film"];
  assert.deepEqual([seen("treatment", leak).pattern, seen("treatment", leak).lit], [3, true]);
});

test("the whole picture fits with a margin", () => {
  const stage = stageOf(roomScene(), firstState());
  const eye = wayOf(0.4, 0.6);
  const size = [800, 500];
  const { zoom, target } = fitted(pointsToHold(stage), eye, size, RING.centre);
  const right = unit(cross([0, 0, 1], eye));
  const up = cross(eye, right);
  let least = Number.POSITIVE_INFINITY;
  for (const p of pointsToHold(stage)) {
    const x = 400 + zoom * dot(sub(p, target), right);
    const y = 250 - zoom * dot(sub(p, target), up);
    least = Math.min(least, x, 800 - x, y, 500 - y);
  }
  assert.ok(Math.abs(least - 26) < 1e-6);
});

test("a source that is off has neither arrow nor label", () => {
  const scene = roomScene();
  const state = firstState();
  assert.equal(sourcesDrawn(scene, state, ROOMS, RING).arrows.length, 1);
  state.silent.add("mast");
  const off = sourcesDrawn(scene, state, ROOMS, RING);
  assert.deepEqual([off.arrows.length, off.places.size, off.strokes.length], [0, 0, 0]);
});

test("an arrow points the way the energy comes", () => {
  const [[tail, tip]] = sourcesDrawn(roomScene(), firstState(), ROOMS, RING).arrows;
  assert.ok(tail[1] < tip[1]); // from the south
  assert.equal(tip[1], 1.5 - 3);
});

test("beams are those of gaps at this receiver, the strongest first, four at most", () => {
  const scene = roomScene();
  const beam = (level, more = {}) => ({
    source: "mast",
    receiver: "pillow",
    panel: "den/W1",
    inside: { vertices: [], triangles: [] },
    outside: [],
    landings: [],
    plans: [{ level_w_m2: level, share: 0.5, loss_db: 3, lit_area_m2: 1, is_gap: true, ...more }],
  });
  scene.beams = [1, 5, 3, 2, 4, 9].map((level) => beam(level));
  scene.beams[5].plans[0].is_gap = false;
  scene.beams[1].receiver = "desk";
  const state = firstState();
  const stage = stageOf(scene, state);
  const levels = beamsShown(scene, state, stage.get).map((each) => each.plans[0].level_w_m2);
  assert.deepEqual(levels, [4, 3, 2, 1]);
});

test("a narrow gap is picked although it is missed by a little", () => {
  const slot = {
    panel: { id: "slot", normal: [0, 1, 0] },
    outlines: [
      [
        [0, 0, 0],
        [10, 0, 0],
      ],
    ],
  };
  const seen = { eye: [0, 1, 0], project: (p) => [10 * p[0], 50], slack: 9 };
  assert.equal(nearestNarrow([slot], [50, 55], seen), "slot");
  assert.equal(nearestNarrow([slot], [50, 61], seen), null);
  assert.equal(nearestNarrow([slot], [50, 55], { ...seen, eye: [0, -1, 0] }), null);
});

test("a tip stays in the picture", () => {
  for (const spot of [
    [5, 5],
    [295, 195],
    [150, 190],
    [295, 5],
  ]) {
    const [x, y] = tipPlace(spot, [120, 60], [300, 200]);
    assert.ok(x >= 4 && y >= 4 && x + 120 <= 296 && y + 60 <= 200, `${spot} → ${x}, ${y}`);
  }
});
