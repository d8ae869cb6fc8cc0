import assert from "node:assert/strict";
import { test } from "node:test";

import { linesOf } from "../../viewer/review/review.js";

test("nothing chosen is no line", () => {
  assert.equal(linesOf([]), "");
  assert.equal(linesOf([{ into: "site.grade", key: "grade", value: "  " }]), "");
});

test("each table is named once, whatever is chosen of it", () => {
  const text = linesOf([
    { into: "tag", key: "den/W1", value: "window", sets: "becomes" },
    { into: "tag", key: "den/W1", value: "double-low-e", sets: "assembly" },
    { into: "model.materials", key: 'Un"ob', value: "wood" },
    { into: "model.materials", key: "Gips", value: "plasterboard" },
    { into: "model.spaces", key: "bath", value: "yes", own: "den\nhall" },
    { into: "model.accept", key: "ground", value: "yes" },
    { into: "model.accept", key: "ground", value: "yes" },
    { into: "site.grade", key: "grade", value: " -1 ft " },
    { into: "tag", key: "door", value: "steel-door", sets: "assembly", by: "kind" },
  ]);
  assert.equal(
    text,
    `# under [model]; where a line of that name stands there, add to it:
spaces = ["den", "hall", "bath"]
materials = { "Un\\"ob" = "wood", "Gips" = "plasterboard" }
accept = ["ground"]

# under [site]:
grade = "-1 ft"

# at the end of the file:
[[tag]]
name = "den/W1"
becomes = "window"
assembly = "double-low-e"

[[tag]]
kind = "door"
assembly = "steel-door"`,
  );
});

test("a name with signs that stand for others means itself", () => {
  const text = linesOf([{ into: "tag", key: "den/a*[1]", value: "wall", sets: "becomes" }]);
  assert.match(text, /name = "den\/a\[\*\]\[\[\]1\]"/);
});
