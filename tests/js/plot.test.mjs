import assert from "node:assert/strict";
import { test } from "node:test";

import { axesOf, bubbles } from "../../viewer/app/page/plot.js";

const STEP = { words: "", worth: true };
const PLOT = {
  across: "cost",
  up: "level",
  today: 1e-3,
  start: 1e-3,
  steps: [
    { ...STEP, number: 1, cost: 100, level: 1e-4, low: 5e-5, high: 2e-4 },
    { ...STEP, number: 2, cost: 400, level: 1e-5, low: 1e-6, high: 2e-5 },
  ],
  front: [],
  costs: [],
  levels: [],
};

test("decades of the level are equally high, and costs stand in proportion", () => {
  const { x, y } = axesOf(PLOT);
  assert.ok(Math.abs(y(1e-4) - y(1e-3) - (y(1e-5) - y(1e-4))) < 1e-9);
  assert.ok(y(1e-3) < y(1e-4));
  assert.ok(Math.abs((x(400) - x(0)) / (x(100) - x(0)) - 4) < 1e-9);
});

test("numbers of steps that lie together do not cover one another", () => {
  const places = Array.from({ length: 8 }, (_, k) => [200 + 2 * k, 60 + 3 * k]);
  const found = bubbles(places);
  assert.deepEqual(found[0], places[0]);
  for (let a = 0; a < found.length; a += 1)
    for (let b = 0; b < a; b += 1)
      assert.ok(Math.hypot(found[a][0] - found[b][0], found[a][1] - found[b][1]) >= 16);
});
