// Drawings beside fields: lengths read and written, walks round a room, azimuths on a compass.
import assert from "node:assert/strict";
import { test } from "node:test";
import { onRim, pairs } from "../../viewer/app/page/compassaid.js";
import { metres, snapped, typedLength, typedLengths } from "../../viewer/app/page/drawing.js";
import { tidy, walkOf } from "../../viewer/app/page/roomaid.js";

test("lengths are read near enough to draw them", () => {
  const known = [
    ["1.2 m", 1.2],
    ["120 mm", 0.12],
    ["35 cm", 0.35],
    ["4 ft", 1.2192],
    ["12 ft 4 1/2 in", 3.7719],
    ["12'4\"", 3.7592],
    ["1/2 in", 0.0127],
    ["-0.3 m", -0.3],
  ];
  for (const [text, value] of known) assert.ok(Math.abs(metres(text) - value) < 1e-6, text);
  assert.ok(Number.isNaN(metres("")));
});

test("lengths are written as one types them, to the centimetre or half an inch", () => {
  assert.equal(typedLength(snapped(1.2034, false), false), "1.2 m");
  assert.equal(typedLength(snapped(1.22, true), true), "4 ft");
  assert.equal(typedLengths([1.2, 0.85], false, " x "), "1.2 m x 0.85 m");
  assert.equal(typedLengths([3.2, 0], false, ", "), "3.2, 0 m");
  assert.equal(typedLengths([1.2192, 0.9144], true, " x "), "4 ft x 3 ft");
});

test("a room drawn either way round is walked counter-clockwise, its last leg left open", () => {
  const drawn = [
    [0, 0],
    [0, 3.6],
    [2.7, 3.6],
    [2.7, 2.6],
    [4.2, 2.6],
    [4.2, 0],
  ];
  const walk = walkOf(tidy(drawn), false);
  assert.match(walk, /^[ENWS] [\d.]+ m(; [ENWS] [\d.]+ m){4}; [ENWS]$/);
  const sums = { E: 0, W: 0, N: 0, S: 0 };
  for (const leg of walk.split("; ")) sums[leg[0]] += Number.parseFloat(leg.slice(2)) || 0;
  assert.ok(sums.E <= 4.2 + 1e-9 && sums.N <= 3.6 + 1e-9);
  // a corner on a straight leg is none
  const square = tidy([
    [0, 0],
    [1, 0],
    [2, 0],
    [2, 2],
    [0, 2],
  ]);
  assert.equal(square.length, 4);
  assert.equal(walkOf(square, false).split("; ").length, 4);
});

test("azimuths run clockwise from the top", () => {
  assert.deepEqual(
    onRim(90, 10).map((each) => Math.round(each) + 0),
    [10, 0],
  );
  assert.deepEqual(
    onRim(180, 10).map((each) => Math.round(each) + 0),
    [0, 10],
  );
  assert.deepEqual(pairs([1, 2, 3, 4]), [
    [1, 2],
    [3, 4],
  ]);
});
