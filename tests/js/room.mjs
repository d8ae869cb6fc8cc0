// A room of our own invention, 4 m by 3 m by 2.5 m, with a window in its south wall.

const leak = (share, is_gap, loss_db) => ({
  solid_angle_sr: 1,
  open_equivalent_sr: share,
  let_in_db: -10,
  loss_db,
  share,
  direct_share: share,
  level_if_treated_w_m2: 1e-6,
  below_if_treated_db: 12,
  rank: Math.round(100 * (1 - share)),
  trial: "coat: 12.0 dB less",
  is_gap,
  outlined: is_gap,
  label: "",
  lines: [`lets in ${share}`],
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
    is_opening: kind === "window",
    ground_lines: [],
    host: null,
    opening: null,
    aliases: [],
    assemblies: ["brick"],
    behind: ["outdoors"],
    plans: [{ treatments: [], stands: "", worn: "Untreated.", leaks: [null] }],
    ...more,
  };
}

const leaking = (share, is_gap, loss_db) => ({
  plans: [
    { treatments: [], stands: "", worn: "Untreated.", leaks: [leak(share, is_gap, loss_db)] },
  ],
});

const name = (panel, text, is_gap, only_seen) => ({
  panel,
  text,
  short: `${text}!`,
  is_gap,
  only_seen,
});
const labels = [
  name("den/W1", "window W1, untreated: 90 %", true, false),
  name("den/1", "south wall (1), untreated: 10 %", false, false),
];

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
    look: {
      themes: {},
      amber: "#ffb000",
      amber_case: "#4a3000",
      landing: "#ffd27a",
      furniture: {},
      stub_m: 0.1,
      max_beams: 2,
      max_labels: 3,
    },
    north: [0, 1, 0],
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
    plans: [
      {
        id: "as-built",
        title: "as-built",
        treated_area_m2: {},
        receivers: [{ labels, beams: [] }],
      },
    ],
    treatments: [{ id: "film", letter: "A", colour: "#336699", pattern: "dots" }],
    sources: [
      {
        id: "mast",
        title: "mast",
        label: "mast, azimuth 180°, level",
        frequency_hz: [1.8e9, 1.9e9],
        direction: [0, -1, 0],
        azimuth_rad: Math.PI,
        elevation_rad: 0,
        spread_rad: 0,
        position: null,
        space: null,
      },
    ],
    receivers: [
      {
        id: "pillow",
        title: "pillow",
        space: "den",
        position: [1, 1, 0.6],
        size: null,
        furniture: [],
        nothing: "Nothing comes.",
      },
    ],
    sights: [],
    scopes: [
      {
        receiver: 0,
        mode: "room",
        storey: null,
        count: 0,
        full: ["den"],
        low: [],
        below: [],
        ring: { centre: [X / 2, Y / 2, 0], radius_m: 3 },
        azimuth_rad: 0.4,
        elevation_rad: 0.6,
        mark_m: 0.1,
        marks: [
          {
            source: "mast",
            label: "mast, azimuth 180°, level",
            short: "mast",
            at: [2, -2.4, 1],
            arrow: [2, -2.4, 1, 2, -1.5, 1],
            hidden: false,
          },
        ],
        arcs: [],
      },
    ],
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
  readings: [],
  hovered: null,
  selected: null,
});
