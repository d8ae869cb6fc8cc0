import assert from "node:assert/strict";
import { test } from "node:test";

import { beads, placed, shifts } from "../../viewer/web/placing.js";

const label = (at, more = {}) => ({ kind: "face", text: "", at, size: [60, 16], ...more });

/** Boxes of labels that were placed. */
const boxes = (wanted, found) =>
  found.flatMap((spot, k) => {
    if (!spot) return [];
    const [w, h] = wanted[k].size;
    return [[spot.x - w / 2, spot.y - h / 2, spot.x + w / 2, spot.y + h / 2]];
  });

test("labels at one place never cover each other and stay in the picture", () => {
  const wanted = Array.from({ length: 40 }, () => label([150, 100]));
  const found = boxes(wanted, placed(wanted, [300, 200], []));
  assert.ok(found.length > 5);
  found.forEach((a, k) => {
    assert.ok(a[0] >= 0 && a[1] >= 0 && a[2] <= 300 && a[3] <= 200);
    for (const b of found.slice(k + 1)) {
      assert.ok(a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1]);
    }
  });
});

test("the first label has its place, a later one a leader to it", () => {
  const [first, second] = placed([label([150, 100]), label([150, 100])], [300, 200], []);
  assert.deepEqual(first, { x: 150, y: 100, leader: null });
  assert.ok(second.leader);
});

test("a fixed label without room is left out", () => {
  const [found] = placed([label([150, 100], { fixed: true })], [300, 200], [[140, 90, 160, 110]]);
  assert.equal(found, null);
});

test("a compass letter over the edge is brought in, one far outside is not", () => {
  const [near, far] = placed(
    [
      label([2, 100], { near: true, size: [10, 10] }),
      label([-60, 50], { near: true, size: [10, 10] }),
    ],
    [300, 200],
    [],
  );
  assert.equal(near.x, 10);
  assert.equal(far, null);
});

test("beads cover a line without a hole", () => {
  const line = [
    [0, 0],
    [30, 40],
  ];
  const found = beads(line);
  for (let t = 0; t <= 1; t += 0.01) {
    const [x, y] = [30 * t, 40 * t];
    assert.ok(
      found.some((b) => b[0] <= x && x <= b[2] && b[1] <= y && y <= b[3]),
      `${t}`,
    );
  }
  assert.equal(
    beads([
      [5, 5],
      [5, 5],
    ]).length,
    1,
  );
});

test("a label that must keep away never stands on its place", () => {
  assert.ok(shifts([10, 10], { away: 8 }).every(([x, y]) => x || y));
  assert.deepEqual(shifts([10, 10], {})[0], [0, 0]);
});

test("a letter whose place is taken stands at the next of its other places, without a line", () => {
  let asked = 0;
  function* elsewhere() {
    for (const spot of [
      [102, 100],
      [200, 100],
    ]) {
      asked++;
      yield spot;
    }
  }
  const letter = () => label([100, 100], { fixed: true, size: [10, 10], elsewhere: elsewhere() });
  const taken = placed([letter()], [300, 200], [[95, 95, 105, 105]]);
  assert.deepEqual(taken, [{ x: 200, y: 100, leader: null }]);
  asked = 0;
  assert.equal(placed([letter()], [300, 200], [])[0].x, 100);
  assert.equal(asked, 0); // what has room asks for no other place
});
