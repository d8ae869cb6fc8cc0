import assert from "node:assert/strict";
import { test } from "node:test";

import { fadingBody, withoutLid } from "../../viewer/web/beams.js";
import {
  arrowMesh,
  axesOf,
  cross,
  diamondMesh,
  distanceToSegment,
  dot,
  edgesOf,
  hardBox,
  norm,
  point,
  softBox,
  sub,
  turned,
} from "../../viewer/web/shapes.js";

/** Volume by the divergence theorem, for triangles that are wound outward. */
function volume({ vertices, triangles }) {
  let sum = 0;
  for (let k = 0; k < triangles.length; k += 3) {
    const [a, b, c] = [0, 1, 2].map((j) => point(vertices, triangles[k + j]));
    sum += dot(a, cross(b, c)) / 6;
  }
  return sum;
}

test("bodies are closed and wound outward", () => {
  assert.ok(Math.abs(volume(hardBox([2, 3, 4])) - 24) < 1e-12);
  assert.ok(Math.abs(volume(turned(hardBox([2, 3, 4]), [5, 6, 7], 0.7)) - 24) < 1e-9);
  // squareness 1 is an ellipsoid: 4/3 π a b c, less what 14 by 28 facets cut off
  const ball = volume(softBox([2, 2, 2], 1));
  assert.ok(ball < (4 * Math.PI) / 3 && ball > 0.97 * ((4 * Math.PI) / 3));
  assert.ok(volume(arrowMesh([0, 0, 0], [1, 1, 1])) > 0);
  // an octahedron with half axes h, h, 1.35 h: 4/3 h³ · 1.35
  const half = 0.1;
  const mark = volume(diamondMesh([1, 2, 3], half));
  assert.ok(Math.abs(mark - (4 / 3) * half ** 3 * 1.35) < 1e-12);
  assert.equal(edgesOf(diamondMesh([1, 2, 3], half)).length, 12);
});

test("axes of a plane are a right-handed frame with the normal", () => {
  for (const normal of [
    [0, 1, 0],
    [-1, 0, 0],
    [0, 0, 1],
    [0, 0, -1],
    [0.6, 0, 0.8],
  ]) {
    const [across, up] = axesOf(normal);
    assert.ok(norm(sub(cross(across, up), normal)) < 1e-12);
  }
});

test("distance to a segment counts its ends", () => {
  assert.equal(distanceToSegment([0, 2, 0], [-1, 0, 0], [1, 0, 0]), 2);
  assert.equal(distanceToSegment([4, 4, 0], [-1, 0, 0], [1, 0, 0]), 5);
  assert.equal(distanceToSegment([3, 4, 0], [0, 0, 0], [0, 0, 0]), 5);
});

test("a beam outside fades to nothing within its reach", () => {
  const near = [0, 0, 0, 1, 0, 0, 1, 0, 1];
  const far = near.map((value, k) => (k % 3 === 1 ? value - 100 : value));
  const { vertices, fade } = fadingBody({ near, far }, { centre: [0, 0, 0], radius_m: 5 });
  assert.equal(fade[0], 1);
  assert.equal(fade.at(-1), 0);
  const deepest = Math.min(...vertices.filter((_, k) => k % 3 === 1));
  assert.ok(Math.abs(deepest + 0.42 * 5) < 1e-9);
});

test("a beam inside has no lid in the panel that it comes through", () => {
  const box = hardBox([1, 2, 1]);
  const panel = { centre: [0, -1, 0], normal: [0, 1, 0] };
  assert.equal(withoutLid(box, panel).length, box.triangles.length - 6);
});
