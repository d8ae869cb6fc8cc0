// The ground of the picture: the compass ring and the rooms' shadow.
import { onRing } from "./scope.js";
import { TAU } from "./shapes.js";

/** @import { SceneJson, ScopeJson, ThemeJson } from "./scene" */
/** @import { Segment, Three } from "./types" */

const SIDE = 256; // of the shadow's picture
const BLUR = 16;

/**
 * Lines of the compass ring: every ten degrees a tick, longer at 30 and at 90.
 * @param {SceneJson} scene
 * @param {ScopeJson["ring"]} ring
 * @param {ThemeJson} theme
 * @returns {Segment[]}
 */
export function compassLines(scene, ring, theme) {
  /** @type {Segment[]} */
  const found = [];
  for (let k = 0; k < 120; k++) {
    const [from, to] = [(TAU * k) / 120, (TAU * (k + 1)) / 120];
    found.push([onRing(scene, ring, from), onRing(scene, ring, to), theme.ring, 1.6]);
  }
  for (let degrees = 0; degrees < 360; degrees += 10) {
    const inner = degrees % 90 === 0 ? 0.93 : degrees % 30 === 0 ? 0.96 : 0.98;
    const turn = (degrees * Math.PI) / 180;
    const ends = [onRing(scene, ring, turn), onRing(scene, ring, turn, inner)];
    found.push([ends[0], ends[1], theme.ring, degrees % 90 ? 1.1 : 2]);
  }
  return found;
}

/**
 * A soft shadow of the rooms on the ground, drawn once into a small picture.
 * @param {Three} THREE
 * @param {{scene: SceneJson, scope: ScopeJson, theme: ThemeJson}} shown
 */
export function shadowOf(THREE, { scene, scope, theme }) {
  const { ring } = scope;
  const span = 3 * ring.radius_m;
  const map = new THREE.CanvasTexture(shadowPicture({ scene, scope, theme }, span));
  map.flipY = false;
  const geometry = new THREE.PlaneGeometry(span, span);
  const uv = geometry.attributes.uv;
  const at = geometry.attributes.position;
  for (let k = 0; k < at.count; k++) {
    uv.setXY(k, 0.5 + at.getX(k) / span, 0.5 + at.getY(k) / span);
  }
  const plane = new THREE.Mesh(
    geometry,
    new THREE.MeshBasicMaterial({ map, transparent: true, depthWrite: false }),
  );
  plane.position.set(ring.centre[0], ring.centre[1], ring.centre[2] - 0.01);
  plane.renderOrder = -3;
  plane.raycast = () => {};
  return plane;
}

/**
 * @param {{scene: SceneJson, scope: ScopeJson, theme: ThemeJson}} shown
 * @param {number} span of the picture on the ground, in metres
 */
function shadowPicture({ scene, scope, theme }, span) {
  const { ring } = scope;
  const cast = new Set([...scope.full, ...scope.low]);
  const page = document.createElement("canvas");
  page.width = page.height = SIDE;
  const pen = /** @type {CanvasRenderingContext2D} */ (page.getContext("2d"));
  pen.shadowColor = `rgba(0,0,0,${theme.shadow})`;
  pen.shadowBlur = BLUR;
  pen.shadowOffsetX = 4 * SIDE; // only the shadow falls on the page
  for (const space of scene.spaces) {
    if (!cast.has(space.id)) continue;
    for (const outline of space.outer) {
      pen.beginPath();
      for (let k = 0; k < outline.length; k += 2) {
        const x = SIDE * (0.5 + (outline[k] - ring.centre[0]) / span);
        const y = SIDE * (0.5 + (outline[k + 1] - ring.centre[1]) / span);
        pen.lineTo(x - 4 * SIDE, y);
      }
      pen.fill();
    }
  }
  // rooms around fade at the ring, and so does their shadow
  const reach = (times) => (times * ring.radius_m * SIDE) / span;
  const middle = SIDE / 2;
  const fading = pen.createRadialGradient(middle, middle, reach(0.9), middle, middle, reach(1.2));
  fading.addColorStop(0, "rgba(0,0,0,1)");
  fading.addColorStop(1, "rgba(0,0,0,0)");
  pen.shadowColor = "transparent";
  pen.globalCompositeOperation = "destination-in";
  pen.fillStyle = fading;
  pen.fillRect(0, 0, SIDE, SIDE);
  return page;
}
