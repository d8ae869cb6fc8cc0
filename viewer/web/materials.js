// Materials and meshes. Shaders write colours as they are, so that they match the legend.
import { unit } from "./shapes.js";
import { rgb } from "./words.js";

export const PATTERNS = ["plain", "rising", "falling", "dots", "cross", "upright", "level", "grid"];
const EDGES_AT_MOST = 16; // of a panel, that darken its corners

const PANEL_VERTEX = `
  uniform vec3 uCentre, uAcross, uUp;
  varying vec2 vPlace;
  void main() {
    vec3 local = position - uCentre;
    vPlace = vec2(dot(local, uAcross), dot(local, uUp));
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
  }`;
const PANEL_FRAGMENT = `
  uniform vec3 uColour, uInk;
  uniform vec4 uEdges[${EDGES_AT_MOST}];
  uniform int uCount, uPattern;
  uniform float uReach, uShade, uLift;
  varying vec2 vPlace;
  float stripe(float x) {
    float w = fwidth(x);
    float f = abs(fract(x) - 0.5);
    return 1.0 - smoothstep(0.07 - w, 0.07 + w, 0.5 - f);
  }
  void main() {
    float light = 1.0;
    for (int k = 0; k < ${EDGES_AT_MOST}; k++) {
      if (k >= uCount) break;
      vec2 a = uEdges[k].xy, along = uEdges[k].zw - a, d = vPlace - a;
      float t = clamp(dot(d, along) / max(dot(along, along), 1e-9), 0.0, 1.0);
      float near = 1.0 - clamp(length(d - t * along) / uReach, 0.0, 1.0);
      light *= 1.0 - 0.30 * near * near;
    }
    vec3 colour = uColour;
    if (uPattern > 0) {
      vec2 p = vPlace * 4.0;
      float mask = 0.0;
      if (uPattern == 1) mask = stripe((p.x + p.y) * 0.8);
      else if (uPattern == 2) mask = stripe((p.x - p.y) * 0.8);
      else if (uPattern == 3) {
        vec2 q = fract(p * 1.2) - 0.5;
        float w = fwidth(p.x) * 1.2;
        mask = 1.0 - smoothstep(0.16 - w, 0.16 + w, length(q));
      }
      else if (uPattern == 4) mask = max(stripe((p.x + p.y) * 0.8), stripe((p.x - p.y) * 0.8));
      else if (uPattern == 5) mask = stripe(p.x);
      else if (uPattern == 6) mask = stripe(p.y);
      else mask = max(stripe(p.x), stripe(p.y));
      colour = mix(colour, uInk, 0.38 * mask);
    }
    gl_FragColor = vec4(mix(colour * uShade * light, vec3(1.0), uLift), 1.0);
  }`;

const SOLID_VERTEX = `
  varying vec3 vNormal, vPlace;
  uniform float uNear;
  void main() {
    vNormal = normal;
    vPlace = position;
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
    gl_Position.z -= uNear * gl_Position.w;
  }`;
const SOLID_FRAGMENT = `
  uniform vec3 uColour, uLight;
  uniform vec4 uRound; // middle and two radii between which it fades away
  uniform float uOpacity, uFadeTop, uFadeDepth;
  varying vec3 vNormal, vPlace;
  void main() {
    vec3 n = normalize(vNormal);
    float shade = 0.80 + 0.13 * max(n.z, 0.0) + 0.12 * dot(n, uLight);
    float alpha = uOpacity;
    if (uFadeDepth > 0.0) alpha *= pow(1.0 - clamp((uFadeTop - vPlace.z) / uFadeDepth, 0.0, 1.0), 1.6);
    if (uRound.w > 0.0) alpha *= 1.0 - smoothstep(uRound.z, uRound.w, distance(vPlace.xy, uRound.xy));
    if (alpha < 0.01) discard;
    gl_FragColor = vec4(min(uColour * shade, vec3(1.0)), alpha);
  }`;

const FLAT_VERTEX = `
  attribute float fade;
  varying float vFade;
  uniform float uNear;
  void main() {
    vFade = fade;
    gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
    gl_Position.z -= uNear * gl_Position.w;
  }`;
const FLAT_FRAGMENT = `
  uniform vec3 uColour;
  uniform float uOpacity;
  varying float vFade;
  void main() { gl_FragColor = vec4(uColour, uOpacity * vFade); }`;

const LINE_VERTEX = `
  attribute vec3 finish, colour;
  attribute vec2 corner;
  attribute float width;
  uniform vec2 uSize;
  uniform float uNear;
  varying vec3 vColour;
  void main() {
    vec4 a = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
    vec4 b = projectionMatrix * modelViewMatrix * vec4(finish, 1.0);
    vec2 way = (b.xy - a.xy) * uSize;
    float size = length(way);
    way = size > 1e-5 ? way / size : vec2(1.0, 0.0);
    vec2 off = (vec2(-way.y, way.x) * corner.y + way * (2.0 * corner.x - 1.0)) * width;
    gl_Position = mix(a, b, corner.x);
    gl_Position.xy += off / uSize;
    gl_Position.z -= uNear;
    vColour = colour;
  }`;
const LINE_FRAGMENT = `
  uniform float uOpacity;
  varying vec3 vColour;
  void main() { gl_FragColor = vec4(vColour, uOpacity); }`;

/** Makers of meshes. `size` is a THREE.Vector2 that holds the canvas' size in CSS pixels. */
export function brushOf({ THREE, size }) {
  const colour = (value) =>
    new THREE.Color().setRGB(
      ...(typeof value === "string" ? rgb(value) : value),
      THREE.LinearSRGBColorSpace,
    );
  const lamp = new THREE.Vector3(...unit([-0.35, -0.55, 0.75]));

  function bufferOf(mesh, flat) {
    let geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.Float32BufferAttribute(mesh.vertices, 3));
    geometry.setIndex(Array.from(mesh.triangles));
    if (flat) {
      const loose = geometry.toNonIndexed();
      geometry.dispose();
      geometry = loose;
    }
    geometry.computeVertexNormals();
    return geometry;
  }

  /** One panel, seen from inside only: near walls vanish. Corners [a, b] lie in the panel's plane. */
  function panel({ vertices, triangles, centre }, [across, up], tint) {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.Float32BufferAttribute(vertices, 3));
    geometry.setIndex(Array.from(triangles));
    const material = new THREE.ShaderMaterial({
      vertexShader: PANEL_VERTEX,
      fragmentShader: PANEL_FRAGMENT,
      side: THREE.FrontSide,
      uniforms: {
        uCentre: { value: new THREE.Vector3(...centre) },
        uAcross: { value: new THREE.Vector3(...across) },
        uUp: { value: new THREE.Vector3(...up) },
        uColour: { value: colour(tint) },
        uInk: { value: colour("#1f2730") },
        uEdges: { value: Array.from({ length: EDGES_AT_MOST }, () => new THREE.Vector4()) },
        uCount: { value: 0 },
        uPattern: { value: 0 },
        uReach: { value: 0.4 },
        uShade: { value: 1 },
        uLift: { value: 0 },
      },
    });
    return new THREE.Mesh(geometry, material);
  }

  /** Darken a panel towards edges, each [x, y, x, y] in its plane, the longest first. */
  function darken(mesh, edges, reach) {
    const { uCount, uEdges, uReach } = mesh.material.uniforms;
    uCount.value = Math.min(edges.length, EDGES_AT_MOST);
    edges.slice(0, EDGES_AT_MOST).forEach((edge, k) => {
      uEdges.value[k].set(...edge);
    });
    uReach.value = reach;
  }

  function solid(mesh, tint, more = {}) {
    const material = new THREE.ShaderMaterial({
      vertexShader: SOLID_VERTEX,
      fragmentShader: SOLID_FRAGMENT,
      uniforms: {
        uColour: { value: colour(tint) },
        uLight: { value: lamp },
        uOpacity: { value: more.opacity ?? 1 },
        uFadeTop: { value: more.fadeTop ?? 0 },
        uFadeDepth: { value: more.fadeDepth ?? 0 },
        uNear: { value: more.near ?? 0 },
        uRound: { value: new THREE.Vector4(...(more.round ?? [0, 0, 0, 0])) },
      },
      transparent: (more.opacity ?? 1) < 1 || more.fadeDepth > 0 || Boolean(more.round),
    });
    const body = new THREE.Mesh(bufferOf(mesh, !more.smooth), material);
    body.renderOrder = more.order ?? 0;
    return body;
  }

  function flat(vertices, triangles, tint, opacity, fade, near = 0) {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.Float32BufferAttribute(vertices, 3));
    geometry.setAttribute(
      "fade",
      new THREE.Float32BufferAttribute(fade ?? new Array(vertices.length / 3).fill(1), 1),
    );
    geometry.setIndex(Array.from(triangles));
    const material = new THREE.ShaderMaterial({
      vertexShader: FLAT_VERTEX,
      fragmentShader: FLAT_FRAGMENT,
      uniforms: {
        uColour: { value: colour(tint) },
        uOpacity: { value: opacity },
        uNear: { value: near },
      },
      transparent: true,
      depthWrite: false,
      side: THREE.DoubleSide,
    });
    const body = new THREE.Mesh(geometry, material);
    body.renderOrder = 5;
    return body;
  }

  /** Lines of a width in pixels: segments are [a, b, colour, width]. */
  function lines(segments, { opacity = 1, near = 4e-4, order = 3 } = {}) {
    const corners = [
      [0, -1],
      [1, -1],
      [1, 1],
      [0, 1],
    ];
    /** @type {Record<string, number[]>} */
    const data = { position: [], finish: [], colour: [], corner: [], width: [] };
    const index = [];
    segments.forEach(([a, b, tint, width], k) => {
      const parts = rgb(tint);
      for (const corner of corners) {
        data.position.push(...a);
        data.finish.push(...b);
        data.colour.push(...parts);
        data.corner.push(...corner);
        data.width.push(width);
      }
      index.push(4 * k, 4 * k + 1, 4 * k + 2, 4 * k, 4 * k + 2, 4 * k + 3);
    });
    const geometry = new THREE.BufferGeometry();
    const sizes = { position: 3, finish: 3, colour: 3, corner: 2, width: 1 };
    for (const [name, count] of Object.entries(sizes)) {
      geometry.setAttribute(name, new THREE.Float32BufferAttribute(data[name], count));
    }
    geometry.setIndex(index);
    const body = new THREE.Mesh(
      geometry,
      new THREE.ShaderMaterial({
        vertexShader: LINE_VERTEX,
        fragmentShader: LINE_FRAGMENT,
        uniforms: { uSize: { value: size }, uNear: { value: near }, uOpacity: { value: opacity } },
        transparent: true,
        depthWrite: false,
        side: THREE.DoubleSide,
      }),
    );
    body.frustumCulled = false;
    body.renderOrder = order;
    body.raycast = () => {};
    return body;
  }

  function empty(group) {
    for (const child of [...group.children]) {
      group.remove(child);
      child.traverse((node) => {
        node.geometry?.dispose();
        node.material?.uniforms?.uMap?.value?.dispose();
        node.material?.map?.dispose();
        node.material?.dispose();
      });
    }
  }

  return { colour, lamp, panel, darken, solid, flat, lines, empty };
}
