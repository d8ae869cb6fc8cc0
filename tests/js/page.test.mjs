import assert from "node:assert/strict";
import { test } from "node:test";

import { inShort, levels } from "../../viewer/app/page/answer.js";
import { againstNow, becomes } from "../../viewer/app/page/becomes.js";
import { belonging } from "../../viewer/app/page/belonging.js";
import { takeColumns } from "../../viewer/app/page/columns.js";
import { typedPlace, within } from "../../viewer/app/page/elevation.js";
import { hintOf } from "../../viewer/app/page/hints.js";
import { leaksOf } from "../../viewer/app/page/lists.js";
import { Looking } from "../../viewer/app/page/looking.js";
import { storeyChoices } from "../../viewer/app/page/notices.js";
import { gapsOf } from "../../viewer/app/page/place.js";
import { cellsOf } from "../../viewer/app/page/plantable.js";
import { columnsFor } from "../../viewer/app/page/views.js";
import { placing, SUPPLIES, toggled } from "../../viewer/app/page/wiringtab.js";
import { roomScene } from "./room.mjs";

/** A store such as the browser keeps for a page. */
function store() {
  const held = new Map();
  return { setItem: (key, value) => held.set(key, value), getItem: (key) => held.get(key) ?? null };
}

test("the plan that is worked on changes places with one beside it", () => {
  const looking = new Looking();
  looking.fitPlans(["a", "b", "c"]);
  assert.equal(looking.plan, "c");
  looking.putBeside("a", true);
  looking.putBeside("b", true);
  looking.workOn("b");
  assert.deepEqual(looking.plans, ["b", "c", "a"]);
  looking.putBeside("c", false);
  looking.choosePlan("a");
  assert.deepEqual(looking.plans, ["a"]);
});

test("three plans at most are shown, the one put beside first gives way", () => {
  const looking = new Looking();
  looking.fitPlans(["a", "b", "c", "d"]);
  for (const id of ["a", "b", "c"]) looking.putBeside(id, true);
  assert.deepEqual(looking.plans, ["d", "b", "c"]);
});

test("what is looked at outlives a reload, and what is gone is let go", () => {
  const scene = roomScene();
  const looking = new Looking();
  looking.fitTo(scene);
  looking.picked = "den/W1";
  const kept = store();
  looking.remember(kept, scene);
  const again = new Looking();
  again.recall(kept, scene);
  assert.deepEqual([again.plan, again.picked, again.receiver], ["as-built", "den/W1", 0]);
  again.beside = ["gone"];
  again.plan = "gone, too";
  again.fitTo(scene);
  assert.deepEqual(again.plans, ["as-built"]);
  const fresh = new Looking();
  fresh.recall(store(), scene);
  assert.deepEqual([fresh.plan, fresh.picked], [null, null]);
});

test("columns replace what is new, and plans keep what is theirs when one comes between", () => {
  const scene = roomScene();
  const column = (id, share) => ({
    plan: { id, title: id, treated_area_m2: {}, receivers: [null] },
    panels: { 6: { treatments: ["film"], stands: "", worn: "", leaks: [{ ...leak, share }] } },
    beams: [],
  });
  const leak = scene.panels[6].plans[0].leaks[0];
  assert.equal(takeColumns(scene, ["as-built", "film"], { film: column("film", 0.2) }), true);
  assert.deepEqual(
    scene.plans.map((each) => each.id),
    ["as-built", "film"],
  );
  assert.equal(scene.panels[6].plans[0].leaks[0].share, 0.9);
  assert.equal(scene.panels[6].plans[1].leaks[0].share, 0.2);
  assert.deepEqual(scene.panels[0].plans[1], {
    treatments: [],
    stands: "",
    worn: "Untreated.",
    leaks: [null],
  });
  assert.equal(takeColumns(scene, ["as-built", "film"], { film: column("film", 0.1) }), false);
  assert.equal(scene.panels[6].plans[1].leaks[0].share, 0.1);
  takeColumns(scene, ["film"], {});
  assert.equal(scene.panels[6].plans[0].leaks[0].share, 0.1);
});

test("faces are listed by the rank that the scene gives them", () => {
  const scene = roomScene();
  const ids = () => leaksOf(scene, 0, 0).map(({ panel }) => panel.id);
  assert.deepEqual(ids(), ["den/W1", "den/1"]);
  scene.panels[0].plans[0].leaks[0].rank = -1;
  assert.deepEqual(ids(), ["den/1", "den/W1"]);
  assert.deepEqual(leaksOf(scene, 5, 0), []);
});

test("a rise is never called a gain", () => {
  const choice = {
    treatments: [],
    level_w_m2: 2e-6,
    reduction_db: 20,
    below_now_db: -1.23,
    more: "+80.00\u00a0EUR",
  };
  assert.equal(
    becomes(choice),
    "level becomes 2.00\u00a0µW/m², ▲ 1.2\u00a0dB more, +80.00\u00a0EUR",
  );
  assert.equal(againstNow(0.04), "no change");
  assert.equal(againstNow(4), "4.0\u00a0dB less");
  const even = { ...choice, level_w_m2: null, below_now_db: 3, more: null };
  assert.equal(
    becomes(even),
    "level becomes 20.0\u00a0dB below an isotropic field, 3.0\u00a0dB less",
  );
});

test("a plan's row says level, range, area and money, and what has no price", () => {
  const numbers = {
    sources: [{ id: "a", outside_w_m2: 1e-3, level_w_m2: 1e-6, below_as_built_db: -2 }],
    bands: [{ reduction_db: 7, below_as_built_db: 1 }],
    reference_band: 0,
    low_w_m2: 5e-7,
    high_w_m2: 2e-6,
    gaps: ["x", "y"],
  };
  const plan = {
    id: "p",
    title: "p",
    treated_area_m2: { film: 1.5, coat: 20 },
    receivers: [numbers],
  };
  const look = { receiver: 0, silent: new Set() };
  const cells = cellsOf({ feet: false }, look, plan, { total: "80.00 EUR", unpriced: ["coat"] });
  assert.deepEqual(cells, [
    ["1.00\u00a0µW/m²", "0.500\u00a0µW/m² to 2.00\u00a0µW/m²"],
    ["30.0\u00a0dB below", ""],
    ["2.0\u00a0dB above", "▲ worse than today"],
    ["2", ""],
    ["21.50\u00a0m²", ""],
    ["80.00 EUR", "without coat"],
  ]);
  const bare = { ...plan, treated_area_m2: {}, receivers: [null] };
  assert.deepEqual(
    cellsOf({ feet: false }, look, bare, undefined).map(([text]) => text),
    ["not worked out yet", "", "", "", "nothing", "no price"],
  );
});

test("sources that are off count for nothing", () => {
  const source = (id, level) => ({
    id,
    outside_w_m2: 1e-3,
    level_w_m2: level,
    below_as_built_db: 10,
  });
  const numbers = {
    sources: [source("near", 1e-4), source("far", 1e-6)],
    low_w_m2: 1e-5,
    high_w_m2: 1e-3,
    bands: [
      { reduction_db: 5, below_as_built_db: 1 },
      { reduction_db: 7, below_as_built_db: 2 },
    ],
    reference_band: 1,
  };
  const all = levels(numbers, new Set());
  assert.ok(Math.abs(all.inside - 1.01e-4) < 1e-12);
  assert.equal(all.low, 1e-5);
  const one = levels(numbers, new Set(["near"]));
  assert.equal(one.inside, 1e-6);
  assert.ok(Math.abs(one.reduction - 30) < 1e-9);
  assert.equal(one.low, null); // the range was worked out with all of them
  const none = levels({ ...numbers, sources: [] }, new Set());
  assert.deepEqual([none.even, none.reduction], [true, 7]);
});

test("a building of one storey has no storey to choose", () => {
  const scene = roomScene();
  const words = () => storeyChoices(scene, 0).map(([, text]) => text);
  const [room] = scene.scopes;
  scene.scopes.push({ ...room, mode: "one", storey: "only" }, { ...room, mode: "all" });
  assert.deepEqual(words(), ["this room", "the whole building"]);
  scene.scopes.push({ ...room, mode: "one", storey: "upper" }, { ...room, mode: "peel", count: 1 });
  assert.equal(words().length, 5);
  assert.equal(words().at(-1), "the building without its top storey");
  assert.deepEqual(storeyChoices(scene, 1), []);
});

test("views stand side by side in a wide place and one above the other in a high one", () => {
  assert.equal(columnsFor(2, 1600, 500), 2);
  assert.equal(columnsFor(2, 500, 1200), 1);
  assert.equal(columnsFor(1, 800, 600), 1);
});

test("a click on a face becomes an outlet in the measure of the job", () => {
  const wall = { panel: "den/1", kind: "wall", origin: [0, 0], axes: [1, 0, 0, 1] };
  assert.deepEqual(typedPlace(wall, [1.234, 0.296], false), { at: "1.23 m", height: "0.3 m" });
  assert.deepEqual(typedPlace(wall, [1.234, 0.296], true), {
    at: "4 ft 1/2 in",
    height: "11 1/2 in",
  });
  // a ceiling seen from below runs the other way round
  const ceiling = { panel: "den/ceiling", kind: "ceiling", origin: [4, 0], axes: [-1, 0, 0, 1] };
  assert.deepEqual(typedPlace(ceiling, [1, 2], false), { at: "3 m, 2 m", height: null });
  const typed = typedPlace(wall, [1, 0.3], false);
  assert.deepEqual(placing("socket", "c", wall, typed), {
    do: "add-row",
    table: "outlet",
    typed: { circuit: "c", kind: "socket", on: "den/1", at: "1 m", from: "left", height: "0.3 m" },
  });
  assert.equal(placing("socket", "c", ceiling, typed), null);
  assert.equal(
    placing("light", "c", ceiling, typedPlace(ceiling, [1, 2], false))?.typed.at,
    "3 m, 2 m",
  );
  assert.equal(placing("bond", "", ceiling, typed)?.table, "bond");
});

test("a point lies within a face or in its notch", () => {
  const ring = [0, 0, 1, 0, 1, 2, 2, 2, 2, 0, 3, 0, 3, 3, 0, 3];
  assert.ok(within(ring, [0.5, 1]));
  assert.ok(!within(ring, [1.5, 1]));
  assert.ok(!within(ring, [3.5, 1]));
});

test("circuits are put among those that are off, and taken out", () => {
  assert.equal(toggled("", "lights", true), "lights");
  assert.equal(toggled("sockets, lights", "lights", true), "sockets, lights");
  assert.equal(toggled("sockets, lights", "sockets", false), "lights");
});

test("every supply but a single one names its phases", () => {
  for (const [, rows] of SUPPLIES) {
    assert.ok(rows.length === 1 || rows.every((row) => row.phase && row.id));
  }
});

test("the same receiver is looked at where another one before it goes", () => {
  const looking = new Looking();
  looking.receiver = 1;
  looking.follow({ receivers: [{ id: "b" }, { id: "c" }] }, "b");
  assert.equal(looking.receiver, 0);
  looking.follow({ receivers: [{ id: "c" }] }, "gone");
  assert.equal(looking.receiver, 0);
});

test("the line on what to do next names what is missing first", () => {
  const whole = { receivers: [1], treatments: [1], plans: [1, 2] };
  const none = { picked: null };
  assert.equal(hintOf({ ...whole, receivers: [] }, { assumed: true }, none).act.table, "receiver");
  assert.equal(hintOf(whole, { assumed: true }, none).act.table, "source");
  assert.equal(
    hintOf({ ...whole, treatments: [] }, { assumed: false }, none).act.table,
    "treatment",
  );
  assert.equal(hintOf({ ...whole, plans: [1] }, { assumed: false }, none).act, "plan");
  assert.equal(hintOf(whole, { assumed: false }, none).act, "steps");
  assert.equal(hintOf(whole, { assumed: false }, { picked: "den/W1" }), null);
});

test("a treatment is offered where it may go and plans put it, as in decide", () => {
  const panel = (id, kind, ...treatments) => ({ id, kind, plans: [{ treatments }] });
  const scene = {
    treatments: ["film", "coat", "new", "mesh"].map((id) => ({ id })),
    panels: [
      panel("r/W1", "window", "film"),
      panel("r/1", "wall", "coat"),
      panel("r/floor", "floor"),
    ],
  };
  const about = { only_on: { mesh: ["r/floor"] } };
  const on = (id, kind, ...worn) =>
    belonging({ panel: { id, kind }, scene, about, state: { treatments: worn } });
  const floor = on("r/floor", "floor");
  assert.deepEqual(floor, { here: ["new", "mesh"], elsewhere: ["film", "coat"], never: [] });
  const light = on("r/S1", "skylight");
  assert.deepEqual(light, { here: ["film", "new"], elsewhere: ["coat"], never: ["mesh"] });
  assert.deepEqual(on("r/floor", "floor", "film").here, ["film", "new", "mesh"]);
});

test("a plan is told beside today, and today beside the level outside", () => {
  const source = { id: "mast", outside_w_m2: 4e-4, level_w_m2: 1e-6, below_as_built_db: 20 };
  const told = (change) => inShort({ sources: [{ ...source, ...change }] }, new Set());
  assert.equal(told({}), "1.00\u00a0µW/m², 20.0\u00a0dB below today");
  assert.equal(told({ below_as_built_db: 0 }), "1.00\u00a0µW/m², 26.0\u00a0dB below outside");
  assert.equal(told({ below_as_built_db: -3 }), "1.00\u00a0µW/m², ▲ 3.0\u00a0dB above today");
});

test("an opening stands in its wall in plan, wherever its leaf hangs", () => {
  const wall = {
    id: "r/east",
    space: "r",
    normal: [-1, 0, 0],
    vertices: [4, 0, 0, 4, 3, 0, 4, 3, 2],
  };
  const leaf = { space: "r", host: "r/east", normal: [-1, 0, 0], kind: "door" };
  const behind = [4.1, 1, 0, 4.1, 1.8, 0, 4.1, 1.8, 2, 4.1, 1, 2]; // declared from the next room
  const scene = { panels: [wall, { ...leaf, id: "r/D1", vertices: behind }] };
  const [[one, other]] = gapsOf(scene, "r");
  assert.ok(Math.abs(one[0] - 4) < 1e-9 && Math.abs(other[0] - 4) < 1e-9);
  assert.deepEqual([one[1], other[1]], [1, 1.8]);
  assert.deepEqual(
    gapsOf({ panels: [wall, { ...leaf, kind: "reveal", vertices: behind }] }, "r"),
    [],
  );
});
