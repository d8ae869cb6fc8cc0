// A room of our own invention, 4 m by 3 m by 2.5 m, with a window in its south wall.

const leak = (share, is_gap, loss_db) => ({
  solid_angle_sr: 1,
  open_equivalent_sr: share,
  let_in_db: -10,
  loss_db,
  share,
  reduction_if_sealed_db: 12,
  is_gap,
  label: "",
});

const [X, Y, Z] = [4, 3, 2.5];

/** A flat panel from its corners, wound so that its normal points into the room. */
function panel(id, title, kind, corners, normal, more = {}) {
  const centre = [0, 1, 2].map((k) => corners.reduce((sum, p) => sum + p[k], 0) / corners.length);
  return {
    id,
    title,
    kind,
    storey: "only",
    space: "den",
    area_m2: 5,
    centre,
    mark: centre,
    normal,
    vertices: corners.flat(),
    triangles: [0, 1, 2, 0, 2, 3],
    rings: [corners.length],
    host: null,
    opening: null,
    aliases: [],
    assemblies: ["brick"],
    behind: ["outdoors"],
    plans: [{ treatments: [], stands: "", leaks: [null] }],
    ...more,
  };
}

const leaking = (share, is_gap, loss_db) => ({
  plans: [{ treatments: [], stands: "", leaks: [leak(share, is_gap, loss_db)] }],
});

/** The scene, anew for each test that changes it. */
export function roomScene() {
  return {
    format: 1,
    name: "Den",
    threshold_db: 20,
    feet: false,
    north_rad: 0,
    grade_m: 0,
    bounds: [0, 0, 0, X, Y, Z],
    scales: { let_in_db: [-30, 0], loss_db: [0, 40] },
    cividis: ["#000000", "#808080", "#ffffff"],
    storeys: [{ id: "only", floor_m: 0, spaces: ["den"] }],
    spaces: [
      {
        id: "den",
        storey: "only",
        floor_m: 0,
        top_m: Z,
        footprint: [[0, 0, X, 0, X, Y, 0, Y]],
        outer: [[0, 0, X, 0, X, Y, 0, Y]],
        base: { vertices: [0, 0, -0.2, X, 0, -0.2, X, Y, -0.2], triangles: [0, 1, 2] },
        block: { vertices: [], triangles: [] },
        bounds: [0, 0, 0, X, Y, Z],
      },
    ],
    panels: [
      panel(
        "den/1",
        "south wall (1)",
        "wall",
        [
          [0, 0, 0],
          [X, 0, 0],
          [X, 0, Z],
          [0, 0, Z],
        ],
        [0, 1, 0],
        leaking(0.1, false, 25),
      ),
      panel(
        "den/2",
        "east wall (2)",
        "wall",
        [
          [X, 0, 0],
          [X, Y, 0],
          [X, Y, Z],
          [X, 0, Z],
        ],
        [-1, 0, 0],
      ),
      panel(
        "den/3",
        "north wall (3)",
        "wall",
        [
          [X, Y, 0],
          [0, Y, 0],
          [0, Y, Z],
          [X, Y, Z],
        ],
        [0, -1, 0],
      ),
      panel(
        "den/4",
        "west wall (4)",
        "wall",
        [
          [0, Y, 0],
          [0, 0, 0],
          [0, 0, Z],
          [0, Y, Z],
        ],
        [1, 0, 0],
      ),
      panel(
        "den/floor",
        "floor",
        "floor",
        [
          [0, 0, 0],
          [X, 0, 0],
          [X, Y, 0],
          [0, Y, 0],
        ],
        [0, 0, 1],
      ),
      panel(
        "den/ceiling",
        "ceiling",
        "ceiling",
        [
          [0, 0, Z],
          [0, Y, Z],
          [X, Y, Z],
          [X, 0, Z],
        ],
        [0, 0, -1],
      ),
      panel(
        "den/W1",
        "window W1",
        "window",
        [
          [1, 0, 1],
          [2, 0, 1],
          [2, 0, 2],
          [1, 0, 2],
        ],
        [0, 1, 0],
        leaking(0.9, true, 3),
      ),
    ],
    walls: [],
    plans: [{ id: "as-built", title: "as-built", treated_area_m2: {}, receivers: [null] }],
    treatments: [{ id: "film", letter: "A", colour: "#336699", pattern: "dots" }],
    ring: { centre: [X / 2, Y / 2, 0], radius_m: 3, north: [0, 1, 0] },
    sources: [
      {
        id: "mast",
        label: "mast, azimuth 180°, level",
        frequency_hz: [1.8e9, 1.9e9],
        direction: [0, -1, 0],
        azimuth_rad: Math.PI,
        elevation_rad: 0,
        spread_rad: 0,
        position: null,
        space: null,
        arrow: null,
      },
    ],
    receivers: [{ id: "pillow", space: "den", position: [1, 1, 0.6], size: null, furniture: [] }],
    sights: [],
    beams: [],
    blocks: [],
    notes: [],
  };
}

/** What a viewer begins with. */
export const firstState = () => ({
  plan: 0,
  receiver: 0,
  mode: "let-in",
  beams: true,
  storeys: { mode: "room" },
  silent: new Set(),
  hovered: null,
  selected: null,
});
