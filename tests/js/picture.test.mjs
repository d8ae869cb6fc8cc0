import assert from "node:assert/strict";
import { test } from "node:test";

import { beamsShown } from "../../viewer/web/beams.js";
import { calloutsOf } from "../../viewer/web/callouts.js";
import { fitted, pointsToHold, wayOf } from "../../viewer/web/camera.js";
import { colouringOf } from "../../viewer/web/colouring.js";
import { innerEdges } from "../../viewer/web/corners.js";
import { anchorOf, faceLines, remains } from "../../viewer/web/outlines.js";
import { nearestNarrow, tipPlace } from "../../viewer/web/pointing.js";
import { readingsShown } from "../../viewer/web/readmarks.js";
import { onRing, scopeOf } from "../../viewer/web/scope.js";
import { axesOf, cross, dot, outlinesOf, sub, unit } from "../../viewer/web/shapes.js";
import { wiringBodies } from "../../viewer/web/wiring.js";
import { firstState, roomScene } from "./room.mjs";

const THEME = { edge: "#111111", rim: "#222222", ring: "#333333", neutral: "#808080" };

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
  const scope = scopeOf(scene, state);
  return {
    scene,
    faces,
    scope,
    get: (id) => faces.find((face) => face.panel.id === id),
    leakOf: (panel) => panel.plans[state.plan]?.leaks[state.receiver] ?? null,
    anchorOf: (face, eye) => anchorOf(face, { faces, scene }, eye),
    marks: () => scope.marks.filter(({ source }) => !state.silent.has(source)),
    readings: () => readingsShown(scene, state, scope),
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
      "gap window W1, untreated: 90 %",
      "face south wall (1), untreated: 10 %",
      "source mast, azimuth 180°, level",
      "receiver pillow",
    ],
  );
  const narrow = calloutsOf(stage, state, { ...seen, width: 400 });
  assert.equal(narrow[4].text, "window W1, untreated: 90 %!");
});

test("letters of treatments stand on faces that are turned to the eye, in that mode alone", () => {
  const scene = roomScene();
  for (const at of [0, 2]) scene.panels[at].plans[0].treatments = ["film"];
  const state = { ...firstState(), mode: "treatment" };
  const seen = { eye: FROM_NORTH, width: 900, project: (p) => p, shows: () => true };
  const codes = calloutsOf(stageOf(scene, state), state, seen).filter(
    ({ kind }) => kind === "code",
  );
  assert.deepEqual(
    codes.map(({ text, at }) => [text, at]),
    [["A", [2, 0, 1.25]]],
  );
});

test("a letter stands where its face shows, and nowhere where something hides it all", () => {
  const scene = roomScene();
  scene.panels[0].plans[0].treatments = ["film"];
  const state = { ...firstState(), mode: "treatment" };
  const stage = stageOf(scene, state);
  const lettersWhere = (shows) =>
    calloutsOf(stage, state, { eye: FROM_NORTH, width: 900, project: (p) => p, shows })
      .filter(({ kind }) => kind === "code")
      .map(({ at }) => at);
  const { id, centre } = scene.panels[0];
  assert.deepEqual(
    lettersWhere(() => false),
    [],
  );
  // something stands before the lower half
  const [spot] = lettersWhere((panel, [, , z]) => panel === id && z > centre[2] + 0.1);
  assert.ok(spot[2] > centre[2] + 0.1);
});

test("a wall that is cut away leaves a line at its foot, which carries its label", () => {
  const state = firstState();
  const stage = stageOf(roomScene(), state);
  const { faces } = stage;
  const north = faces[2];
  const [line] = remains(north, stage, FROM_NORTH);
  assert.deepEqual(
    line.map((p) => p[2]),
    [0.1, 0.1],
  );
  assert.deepEqual(anchorOf(north, stage, FROM_NORTH), [2, 3, 0.1]);
  assert.deepEqual(anchorOf(faces[0], stage, FROM_NORTH), [2, 0, 1.25]);
});

test("of a ceiling that is cut away the edges on standing walls remain", () => {
  const stage = stageOf(roomScene(), firstState());
  const left = remains(stage.faces[5], stage, FROM_NORTH);
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
  scene.panels[6].plans[0].leaks[0].outlined = false;
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
  const { zoom, target } = fitted(pointsToHold(stage), eye, size, stage.scope.ring.centre);
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

test("faces are named while they can show, as many as the scene allows", () => {
  const scene = roomScene();
  const { labels } = scene.plans[0].receivers[0];
  const state = firstState();
  const texts = (eye) =>
    calloutsOf(stageOf(scene, state), state, { eye, width: 900, project: (p) => p })
      .filter(({ kind }) => kind === "gap" || kind === "face")
      .map(({ text }) => text);
  labels.unshift({ ...labels[1], panel: "gone", text: "gone" });
  labels.push({ ...labels[1], panel: "den/2", text: "east", only_seen: true });
  labels.push({ ...labels[1], panel: "den/4", text: "west" });
  assert.deepEqual(texts(unit([1, 1, 0.7])).at(-1), "west"); // the east wall is cut away
  assert.deepEqual(texts(unit([-1, 1, 0.7])).at(-1), "east"); // three are named, so west is not
});

test("a source that is off has no label", () => {
  const scene = roomScene();
  const state = firstState();
  const seen = { eye: FROM_NORTH, width: 900, project: (p) => p };
  const sources = () =>
    calloutsOf(stageOf(scene, state), state, seen).filter(({ kind }) => kind === "source");
  assert.equal(sources().length, 1);
  state.silent.add("mast");
  assert.equal(sources().length, 0);
});

test("a reading shows with its own plan, those of one place together", () => {
  const scene = roomScene();
  const state = firstState();
  const one = { space: "den", plan: scene.plans[0].id, at: [1, 1, 1], label: "read 5", colour: "" };
  state.readings = [
    one,
    { ...one, label: "read 4" },
    { ...one, plan: "another", at: [2, 2, 1] },
    { ...one, space: null, at: [9, 9, 1] },
    { ...one, at: [2, 1, 1], label: "read 7" },
  ];
  const seen = { eye: FROM_NORTH, width: 900, project: (p) => p };
  const named = () =>
    calloutsOf(stageOf(scene, state), state, seen)
      .filter(({ kind }) => kind === "reading")
      .map(({ text }) => text);
  assert.deepEqual(named(), ["read 5 (+1)", "read 7"]);
  state.mode = "wiring";
  assert.deepEqual(named(), []);
});

test("a choice that is gone shows the room, a job without a receiver the whole house", () => {
  const scene = roomScene();
  const gone = { ...firstState(), storeys: { mode: "one", id: "cellar", count: 0 } };
  assert.equal(scopeOf(scene, gone).mode, "room");
  scene.scopes = [];
  assert.deepEqual(scopeOf(scene, gone).full, ["den"]);
});

test("north on the ring is where the scene has it", () => {
  const ring = { centre: [1, 2, 3], radius_m: 2 };
  const east = onRing({ north: [0, 1, 0] }, ring, Math.PI / 2);
  assert.ok(Math.hypot(east[0] - 3, east[1] - 2, east[2] - 3) < 1e-12);
  const turned = onRing({ north: [1, 0, 0] }, ring, 0, 1.5);
  assert.deepEqual(turned, [4, 2, 3]);
});

test("beams are those that the scene has chosen, less sources that are off", () => {
  const scene = roomScene();
  const beam = (source, share) => ({
    source,
    receiver: "pillow",
    panel: "den/W1",
    inside: { vertices: [], triangles: [] },
    outside: [],
    landings: [],
    plans: [{ level_w_m2: 1, share, loss_db: 3, lit_area_m2: 1, is_gap: true }],
  });
  scene.beams = [beam("mast", 0.5), beam("cell", 0.01), beam("mast", 0.3)];
  scene.plans[0].receivers[0].beams = [2, 1, 0];
  const state = firstState();
  const shown = () =>
    beamsShown(scene, state, stageOf(scene, state).get).map((each) => [each.source, each.strong]);
  assert.deepEqual(shown(), [
    ["mast", true],
    ["cell", false],
  ]);
  state.silent.add("cell");
  assert.deepEqual(shown(), [
    ["mast", true],
    ["mast", true],
  ]);
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

/** A cable that matters, one that does not, and the cord of the first. */
function wired(scene) {
  const share = (rank, matters) => [[{ colour: "#00224e", label: `${rank} off`, rank, matters }]];
  const cable = (id, more) => ({
    id,
    what: id,
    circuit: "c",
    kind: "run",
    spaces: ["den"],
    mark: [1, 1, 1],
    vertices: [0, 0, 0, 1, 0, 0, 0, 1, 0],
    triangles: [0, 1, 2],
    plans: share(1, false),
    ...more,
  });
  scene.wiring = {
    cables: [
      cable("far"),
      cable("lamp", { plans: share(0, true) }),
      cable("lamp cord", { what: "lamp", kind: "cord", plans: share(0, true) }),
      cable("attic", { spaces: ["attic"], plans: share(2, true) }),
    ],
    spots: [
      { ...cable("b"), kind: "bond", space: "den", colour: "#3d8f5f", plans: ["nowhere"] },
      { ...cable("s"), kind: "socket", space: "den", colour: "#ffffff", plans: null },
    ],
    strips: [],
    key: [],
    title: "",
    most_named: 3,
    fields: [],
  };
  return scene;
}

test("cables are named by what matters, and hide the names of gaps", () => {
  const state = { ...firstState(), mode: "wiring" };
  const stage = stageOf(wired(roomScene()), state);
  const seen = { eye: FROM_NORTH, width: 900, project: (p) => p };
  const named = calloutsOf(stage, state, seen).filter(({ kind }) => kind === "face");
  assert.deepEqual(
    named.map(({ text }) => text),
    ["0 off"],
  );
});

test("cables of rooms that show are drawn before everything, bonds under their plans", () => {
  const state = { ...firstState(), mode: "wiring" };
  const scene = wired(roomScene());
  const drawn = [];
  const brush = {
    solid: (mesh, colour) => {
      drawn.push([mesh.id, colour]);
      return { material: {} };
    },
  };
  const stage = stageOf(scene, state);
  const theme = { muted: "#777777" };
  const bodies = wiringBodies(scene, state, { brush, theme, scope: stage.scope, get: stage.get });
  assert.deepEqual(
    drawn.map(([id]) => id),
    ["far", "lamp", "lamp cord", "s"],
  );
  assert.ok(bodies.every(({ material }) => material.depthTest === false));
  scene.wiring.cables[0].plans = [];
  drawn.length = 0;
  wiringBodies(scene, state, { brush, theme, scope: stage.scope, get: stage.get });
  assert.deepEqual(drawn[0], ["far", "#777777"]); // nothing is worked out yet
});
