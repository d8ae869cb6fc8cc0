// Drawings beside fields: lengths read and written, walks round a room, azimuths on a compass.
import assert from "node:assert/strict";
import { test } from "node:test";
import { onRim, pairs } from "../../viewer/app/page/compassaid.js";
import {
  metres,
  snapped,
  spotOf,
  typedLength,
  typedLengths,
} from "../../viewer/app/page/drawing.js";
import { dragged, quarter } from "../../viewer/app/page/rectaid.js";
import { outlineOf, sectionOf } from "../../viewer/app/page/roofaid.js";
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

const close = (found, wanted) =>
  found.forEach((each, k) => {
    assert.ok(Math.abs(each - wanted[k]) < 1e-9, `${found} is not ${wanted}`);
  });

test("a point is read with one unit at its end or with one each", () => {
  close(spotOf("-14, -22 m"), [-14, -22]);
  close(spotOf("2 ft, 6 ft, 0.6 m"), [0.6096, 1.8288, 0.6]);
  assert.ok(Number.isNaN(spotOf("")[0]));
});

test("a rectangle is moved, sized from the corner across, drawn, and turned about its middle", () => {
  const rect = { x: 1, y: 1, width: 2, depth: 1 };
  const values = (each) => [each.x, each.y, each.width, each.depth];
  close(values(dragged({ kind: "move", at: [2, 1.5], rect }, [2.5, 1])), [1.5, 0.5, 2, 1]);
  close(values(dragged({ kind: "size", at: [3, 2], rect }, [4, 3])), [1, 1, 3, 2]);
  close(values(dragged({ kind: "size", at: [1, 1], rect }, [0, 0.5])), [0, 0.5, 3, 1.5]);
  close(values(dragged({ kind: "draw", at: [5, 5], rect }, [4, 7])), [4, 5, 1, 2]);
  const turned = quarter(rect);
  close(values(turned), [1.5, 0.5, 1, 2]);
  close(values(quarter(turned)), values(rect));
});

test("the section of a roof has its ridge, its pitch and its level part", () => {
  const gable = { shape: "gable", along: "x", pitch: "45 deg" };
  const section = sectionOf(gable, [5, 4], 1);
  close([section.span, section.ridge], [4, 3]); // half of 4 m at 45 degrees over 1 m
  const cut = sectionOf({ ...gable, flat: "2 m" }, [5, 4], 1);
  close(outlineOf(cut).flat(), [0, 0, 0, 1, 1, 2, 3, 2, 4, 1, 4, 0]);
  assert.equal(sectionOf({ ...gable, along: "y" }, [5, 4], 1).span, 5);
  const shed = sectionOf({ shape: "shed", low: "south", ridge: "3 m" }, [5, 4], 2);
  close(outlineOf(shed).flat(), [0, 0, 0, 2, 4, 3, 4, 0]);
  assert.equal(sectionOf({}, [5, 4], 2.4).ridge, 2.4);
});
