import assert from "node:assert/strict";
import { test } from "node:test";

import {
  cividis,
  decibels,
  density,
  describe,
  panelName,
  percent,
  placeOn,
  shown,
} from "../../viewer/web/words.js";
import { roomScene } from "./room.mjs";

test("numbers have three figures that matter and a proper sign", () => {
  assert.equal(density(8.5e-4), "850\u00a0µW/m²");
  assert.equal(density(null), "–");
  assert.equal(decibels(-3.26), "−3.3\u00a0dB");
  assert.equal(decibels(-0.04), "0.0\u00a0dB");
  assert.equal(decibels(null), "nothing passes");
  assert.equal(percent(0.9951), "99.5\u00a0%");
});

test("a name from a file is one short line", () => {
  assert.equal(shown(" a\n b "), "a b");
  assert.equal(shown("x".repeat(60)).length, 48);
  assert.equal(shown("safe\u202edrawkcab"), "safedrawkcab");
});

test("a face is named with its room only where that is another one", () => {
  const scene = roomScene();
  assert.equal(panelName(scene, scene.panels[6]), "window W1");
  scene.receivers[0].space = "hall";
  assert.equal(panelName(scene, scene.panels[6]), "window W1 of den");
});

test("a face is described by what the scene says of it", () => {
  const scene = roomScene();
  assert.deepEqual(describe(scene, scene.panels[6], 0, 0), [
    "window W1",
    "lets in 0.9",
    "Untreated.",
  ]);
  assert.deepEqual(describe(scene, scene.panels[1], 0, 0), [
    "east wall (2)",
    "Nothing comes.",
    "Untreated.",
  ]);
  scene.receivers = [];
  scene.panels[1].plans[0].leaks = [];
  assert.deepEqual(describe(scene, scene.panels[1], 0, 0).at(-1), "Untreated.");
});

test("colours and places on a scale end where the scale ends", () => {
  const scene = roomScene();
  assert.deepEqual(
    cividis(scene, 0.25).map((part) => Math.round(255 * part)),
    [64, 64, 64],
  );
  assert.deepEqual(cividis(scene, 7), [1, 1, 1]);
  assert.equal(placeOn([0, 40], 10, 1), 0.25);
  assert.equal(placeOn([0, 40], -10, 1), 0);
  assert.equal(placeOn([0, 40], null, 1), 1);
});
