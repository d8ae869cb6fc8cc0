// The eye of a picture in parallel projection: turning, zooming, and fitting the rooms in.
import { onRing } from "./scope.js";
import { add, cross, dot, point, sub, TAU, unit } from "./shapes.js";

/** @import { CameraPlace, Point, StageLike, Three } from "./types" */

const REACH_M = 60; // from the target to the eye: a direction only, in parallel projection
const NARROW_PX = 520;

/**
 * Way from the target to the eye.
 * @param {number} azimuth true, clockwise from north
 * @param {number} elevation
 */
export function wayOf(azimuth, elevation) {
  const level = Math.cos(elevation);
  return [level * Math.sin(azimuth), level * Math.cos(azimuth), Math.sin(elevation)];
}

/**
 * Points that the whole picture must hold: the ring, the tops of the rooms, the sources that show.
 * @param {StageLike} stage
 * @returns {Point[]}
 */
export function pointsToHold(stage) {
  const { scene, scope } = stage;
  const points = [];
  for (let k = 0; k < 24; k++) points.push(onRing(scene, scope.ring, (TAU * k) / 24, 1.04));
  for (const space of scene.spaces) {
    if (!scope.full.includes(space.id)) continue;
    for (const outline of space.outer) {
      for (let k = 0; k < outline.length; k += 2) {
        points.push([outline[k], outline[k + 1], space.top_m]);
      }
    }
  }
  for (const { at, arrow } of stage.marks()) {
    if (arrow) points.push(point(arrow, 0), point(arrow, 1));
    else points.push(at, add(at, [0, 0, -2 * scope.mark_m]));
  }
  return points;
}

/**
 * Zoom and target with which points fill a picture of a size, seen along a way.
 * @param {Point[]} points
 * @param {Point} eye way to the eye
 * @param {number[]} size width and height in pixels
 * @param {Point} centre of the ring, in whose depth the target lies
 */
export function fitted(points, eye, [width, height], centre) {
  const right = unit(cross([0, 0, 1], eye));
  const up = cross(eye, right);
  const spread = (axis) => {
    const values = points.map((p) => dot(p, axis));
    return [Math.min(...values), Math.max(...values)];
  };
  const [l, r] = spread(right);
  const [b, t] = spread(up);
  const margin = width < NARROW_PX ? 14 : 26;
  const zoom = Math.min((width - 2 * margin) / (r - l), (height - 2 * margin) / (t - b));
  const middle = add(add([0, 0, 0], right, (l + r) / 2), up, (b + t) / 2);
  return { zoom, target: add(middle, eye, dot(centre, eye)) };
}

/** A parallel camera with its controls. */
export class Camera {
  size = [1, 1];
  #homeZoom = 1;
  #quiet = false;

  /**
   * @param {{THREE: Three, OrbitControls: Three, canvas: HTMLCanvasElement}} given
   */
  constructor({ THREE, OrbitControls, canvas }) {
    this.THREE = THREE;
    this.camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -400, 800);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.enableDamping = false;
    this.controls.maxPolarAngle = 0.49 * Math.PI;
    this.controls.screenSpacePanning = true;
  }

  /**
   * Call when someone turns, moves or zooms the picture by hand.
   * @param {() => void} act
   */
  onTurned(act) {
    this.controls.addEventListener("change", () => {
      if (!this.#quiet) act();
    });
  }

  /** Way from the target to the eye. */
  eye() {
    return unit(sub(this.camera.position.toArray(), this.controls.target.toArray()));
  }

  /**
   * Place of a point in the picture, in pixels.
   * @param {Point} p
   */
  project(p) {
    const v = new this.THREE.Vector3(...p).project(this.camera);
    return [((v.x + 1) / 2) * this.size[0], ((1 - v.y) / 2) * this.size[1]];
  }

  /** @returns {CameraPlace} */
  get() {
    const way = this.eye();
    return {
      azimuth_rad: (Math.atan2(way[0], way[1]) + TAU) % TAU,
      elevation_rad: Math.asin(Math.min(Math.max(way[2], -1), 1)),
      zoom: this.camera.zoom / this.#homeZoom,
      target: this.controls.target.toArray(),
    };
  }

  /** @param {Partial<CameraPlace>} place what is not given stays */
  set({ azimuth_rad, elevation_rad, zoom, target }) {
    const old = this.get();
    this.#quiet = true;
    if (target) this.controls.target.set(...target);
    this.camera.zoom = this.#homeZoom * (zoom ?? old.zoom);
    this.camera.updateProjectionMatrix();
    const way = wayOf(azimuth_rad ?? old.azimuth_rad, elevation_rad ?? old.elevation_rad);
    this.camera.position.set(...add(this.controls.target.toArray(), way, REACH_M));
    this.controls.update();
    this.camera.updateMatrixWorld(); // it turned after it was moved
    this.#quiet = false;
  }

  /**
   * The target with which points fill the picture, whose zoom counts as 1 from now on.
   * @param {Point[]} points
   * @param {Point} centre
   */
  fit(points, centre) {
    const { zoom, target } = fitted(points, this.eye(), this.size, centre);
    this.#homeZoom = zoom;
    return target;
  }

  /** Zoom against the whole picture as it was last fitted. */
  get relativeZoom() {
    return this.camera.zoom / this.#homeZoom;
  }

  /** @param {number[]} size in CSS pixels */
  resize([width, height]) {
    this.size = [width, height];
    Object.assign(this.camera, {
      left: -width / 2,
      right: width / 2,
      top: height / 2,
      bottom: -height / 2,
    });
  }
}
