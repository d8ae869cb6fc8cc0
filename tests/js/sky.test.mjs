import assert from "node:assert/strict";
import { test } from "node:test";

import { beside, discCells, expanded, RADIUS, SkyCells } from "../../viewer/web/skycells.js";
import { bleed, colourTable } from "../../viewer/web/skypaint.js";

/** A sky whose upper half shows one panel, its lower half another. */
function halves(side) {
  const upper = discCells(side).filter((cell) => cell < (side * side) / 2).length;
  const all = discCells(side).length;
  return { side, panels: ["up", "down"], first: [0, upper, 1, all - upper] };
}

test("a run-length code becomes its values", () => {
  assert.deepEqual(expanded([7, 2, 0, 0, 9, 1]), [7, 7, 9]);
  assert.deepEqual(expanded([]), []);
});

test("cells of the disc cover its share of the square", () => {
  assert.ok(Math.abs(discCells(200).length / 200 ** 2 - Math.PI / 4) < 2e-3);
});

test("a place shows its panel, one beyond the disc none", () => {
  const cells = new SkyCells(halves(40));
  assert.equal(cells.panelAt(0, -20), "up");
  assert.equal(cells.panelAt(0, 20), "down");
  assert.equal(cells.panelAt(0.9 * RADIUS, 0.9 * RADIUS), null);
  assert.equal(cells.panelAt(-2 * RADIUS, 0), null);
});

test("a name's box lies wholly in what is seen of its panel", () => {
  const cells = new SkyCells(halves(60));
  const half = [10, 3];
  const places = cells.within("up", half, [0, -10]);
  assert.ok(places.length > 50);
  for (const [x, y] of places) {
    assert.ok(y + half[1] <= 1e-9);
    assert.ok(Math.hypot(Math.abs(x) + half[0], y - half[1]) <= RADIUS + 3);
  }
  const away = places.map(([x, y]) => Math.hypot(x, y + 10));
  assert.deepEqual(
    away,
    [...away].sort((a, b) => a - b),
  );
  assert.deepEqual(cells.within("up", [60, 3], [0, 0]), []);
});

test("places beside a spot touch it only where it has a clearance", () => {
  assert.equal(beside([0, 0], [5, 2], 3).filter(({ touches }) => touches).length, 4);
  assert.ok(beside([0, 0], [5, 2], 0).every(({ touches }) => !touches));
});

test("blocked directions are paper, a tight panel is dark, an open one bright", () => {
  const table = colourTable({ scale_db: [0, 40], cividis: ["#000000", "#ffffff"] });
  assert.deepEqual(table[254], [216, 210, 198]);
  assert.deepEqual(table[255], [0, 0, 0]);
  assert.deepEqual(table[0], [255, 255, 255]);
  assert.deepEqual(table[20], [128, 128, 128]);
});

test("the rim's colours are carried outward and nothing stays transparent", () => {
  const side = 8;
  const data = new Uint8ClampedArray(4 * side * side);
  for (const cell of discCells(side)) data.set([50, 60, 70, 255], 4 * cell);
  bleed(data, side);
  for (let k = 0; k < data.length; k += 4)
    assert.deepEqual([...data.slice(k, k + 4)], [50, 60, 70, 255]);
});
