// Generated from viewer/scene/json_types.py by tests/js/declarations.py; not to be edited.

/** Triangles, counter-clockwise from the side that shows. */
export interface MeshJson {
  vertices: Array<number>;
  triangles: Array<number>;
}

/** Ends of the colours in dB: of what is let in high is bright, of a loss low is bright. */
export interface ScalesJson {
  let_in_db: Array<number>;
  loss_db: Array<number>;
}

/** A storey; the lowest comes first. */
export interface StoreyJson {
  id: string;
  floor_m: number;
  spaces: Array<string>;
}

/** A room: rings of its inside faces and of its walls, its floor's body, its closed block. */
export interface SpaceJson {
  id: string;
  title: string;
  storey: string;
  floor_m: number;
  top_m: number;
  footprint: Array<Array<number>>;
  outer: Array<Array<number>>;
  base: MeshJson;
  block: MeshJson;
  bounds: Array<number>;
}

/** What a panel lets in at one receiver under one plan. */
export interface LeakJson {
  solid_angle_sr: number;
  open_equivalent_sr: number;
  let_in_db: number | null;
  loss_db: number | null;
  share: number;
  direct_share: number;
  level_if_treated_w_m2: number | null;
  below_if_treated_db: number | null;
  rank: number;
  trial: string;
  is_gap: boolean;
  outlined: boolean;
  label: string;
  lines: Array<string>;
}

/** A panel under one plan; `leaks` goes by receiver. */
export interface PanelStateJson {
  treatments: Array<string>;
  stands: string;
  worn: string;
  leaks: Array<LeakJson | null>;
}

/** A face. `rings`: corners of each outline in `vertices`; `mark`: a point well inside. */
export interface PanelJson {
  id: string;
  title: string;
  kind: "wall" | "floor" | "ceiling" | "reveal" | "seam" | "window" | "door" | "hatch" | "vent" | "skylight" | "light" | "box" | "open";
  storey: string;
  space: string;
  area_m2: number;
  centre: Array<number>;
  mark: Array<number>;
  normal: Array<number>;
  vertices: Array<number>;
  triangles: Array<number>;
  rings: Array<number>;
  is_opening: boolean;
  ground_lines: Array<Array<number>>;
  host: string | null;
  opening: string | null;
  aliases: Array<string>;
  assemblies: Array<string>;
  behind: Array<string>;
  plans: Array<PanelStateJson>;
}

/** A wall's body: `standing` where its normal faces the eye, else `stub`. */
export interface WallJson {
  panel: string;
  space: string;
  storey: string;
  normal: Array<number>;
  thickness_m: number;
  standing: MeshJson;
  stub: MeshJson;
}

/** All directions alike, at one band. */
export interface BandJson {
  frequency_hz: number;
  unshielded_sr: number;
  open_equivalent_sr: number;
  reduction_db: number | null;
  below_as_built_db: number | null;
}

/** What one source comes to at one receiver. */
export interface SourceLevelJson {
  id: string;
  frequency_hz: number;
  outside_w_m2: number;
  direct_w_m2: number;
  diffuse_w_m2: number;
  level_w_m2: number;
  low_w_m2: number | null;
  high_w_m2: number | null;
  reduction_db: number | null;
  below_as_built_db: number | null;
  lit_area_m2: number;
  unshielded_area_m2: number;
  unshielded_sr: number | null;
}

/** The worst point of a receiver that is a box. */
export interface WorstJson {
  position: Array<number>;
  reduction_db: number | null;
  open_equivalent_sr: number;
  level_w_m2: number | null;
}

/** A face that is named in a picture; `only_seen`: only while it and its wall face the eye. */
export interface FaceLabelJson {
  panel: string;
  text: string;
  short: string;
  is_gap: boolean;
  only_seen: boolean;
}

/** The numbers of one plan at one receiver. */
export interface NumbersJson {
  exposed_sr: number;
  exposed_above_horizon_sr: number;
  closure_error_sr: number;
  standard_error: number | null;
  points: number;
  reference_band: number;
  outside_w_m2: number | null;
  level_w_m2: number | null;
  low_w_m2: number | null;
  high_w_m2: number | null;
  bands: Array<BandJson>;
  sources: Array<SourceLevelJson>;
  gaps: Array<string>;
  worst: WorstJson | null;
  headline: Array<string>;
  labels: Array<FaceLabelJson>;
  beams: Array<number>;
}

/** Letter, colour and pattern of a treatment: told apart without colour, too. */
export interface TreatmentStyleJson {
  id: string;
  letter: string;
  colour: string;
  pattern: "plain" | "rising" | "falling" | "dots" | "cross" | "upright" | "level" | "grid";
}

/** A source: `direction` points to it; a point has a `position` in place of it. */
export interface SourceJson {
  id: string;
  title: string;
  label: string;
  frequency_hz: Array<number>;
  direction: Array<number> | null;
  azimuth_rad: number | null;
  elevation_rad: number;
  spread_rad: number;
  position: Array<number> | null;
  space: string | null;
}

/** A box turned about z. */
export interface FurnitureJson {
  kind: string;
  centre: Array<number>;
  size: Array<number>;
  heading_rad: number;
}

/** A receiver; `size` is None for a point; `nothing` is said of a face without a leak at it. */
export interface ReceiverJson {
  id: string;
  title: string;
  space: string;
  position: Array<number>;
  size: Array<number> | null;
  furniture: Array<FurnitureJson>;
  nothing: string;
}

/** Line of sight to a transmitter, open where it passes a panel; two points each piece. */
export interface SightJson {
  source: string;
  receiver: string;
  pieces: Array<Array<number>>;
  dashes: Array<Array<number>>;
}

/** The compass around what is shown, at the foot of its floor. */
export interface RingJson {
  centre: Array<number>;
  radius_m: number;
}

/** A source in a picture: label, what it names, and the arrow's tail and tip. */
export interface SourceMarkJson {
  source: string;
  label: string;
  short: string;
  at: Array<number>;
  arrow: Array<number> | null;
  hidden: boolean;
}

/** A part of the ring before something outdoors that blocks. */
export interface ArcJson {
  id: string;
  text: string;
  points: Array<number>;
}

/** What is shown around a receiver (its place in `receivers`), and from where at first. */
export interface ScopeJson {
  receiver: number;
  mode: "room" | "one" | "all" | "peel";
  storey: string | null;
  count: number;
  full: Array<string>;
  low: Array<string>;
  below: Array<string>;
  ring: RingJson;
  azimuth_rad: number;
  elevation_rad: number;
  mark_m: number;
  marks: Array<SourceMarkJson>;
  arcs: Array<ArcJson>;
}

/** What a plan moves: receivers, lines of sight and scopes in place of the scene's own. */
export interface MovedJson {
  receivers: Array<ReceiverJson>;
  sights: Array<SightJson>;
  scopes: Array<ScopeJson>;
}

/** A plan; `receivers` goes by receiver, None where nothing is worked out yet. */
export interface PlanJson {
  id: string;
  title: string;
  treated_area_m2: Record<string, number>;
  receivers: Array<NumbersJson | null>;
  moved: MovedJson | null;
}

/** Colours of what is no quantity; `shadow`: darkness of the shade on the ground, 0 to 1. */
export interface ThemeJson {
  name: "light" | "dark";
  paper: string;
  paper_top: string;
  ink: string;
  muted: string;
  edge: string;
  rim: string;
  plinth: string;
  ghost: string;
  ghost_edge: string;
  neutral: string;
  ring: string;
  source: string;
  label: string;
  beam: string;
  beam_edge: string;
  shadow: number;
}

/** `squareness`: 1 is an ellipsoid, towards 0 a sharp box; None for a sharp box. */
export interface FurnitureLookJson {
  colour: string;
  squareness: number | null;
}

/** Colours and limits that pictures and pages share. */
export interface LookJson {
  themes: Record<string, ThemeJson>;
  amber: string;
  amber_case: string;
  landing: string;
  furniture: Record<string, FurnitureLookJson>;
  stub_m: number;
  max_beams: number;
  max_labels: number;
}

/** What a beam carries under one plan. */
export interface BeamShareJson {
  level_w_m2: number;
  share: number;
  loss_db: number | null;
  lit_area_m2: number;
  is_gap: boolean;
}

/** The ring at the panel, and the same ring where the beam has faded. */
export interface BeamSideJson {
  near: Array<number>;
  far: Array<number>;
}

/** Where a beam lands: on a panel or a receiver. */
export interface LandingJson {
  on: string;
  area_m2: number;
  vertices: Array<number>;
  triangles: Array<number>;
  rings: Array<number>;
}

/** A beam through a panel; `plans` goes by plan. */
export interface BeamJson {
  source: string;
  receiver: string;
  panel: string;
  inside: MeshJson;
  outside: Array<BeamSideJson>;
  landings: Array<LandingJson>;
  plans: Array<BeamShareJson | null>;
}

/** What stands outdoors and blocks, by the corners of its plan. */
export interface BlockJson {
  id: string;
  corners: Array<number>;
}

/** What remains of the field with a cable off; `rank`: 0 leaves least; `matters`: less does. */
export interface CableShareJson {
  colour: string;
  label: string;
  rank: number;
  matters: boolean;
}

/** A run of the house wiring, a device or its cord, as a tube; `what` is off in its figures. */
export interface CableJson {
  id: string;
  circuit: string;
  kind: "run" | "cord" | "device";
  what: string;
  spaces: Array<string>;
  mark: Array<number>;
  vertices: Array<number>;
  triangles: Array<number>;
  plans: Array<Array<CableShareJson | null>>;
}

/** An outlet or a bond: a small plate on its face; `plans`: ids of those that make a bond. */
export interface SpotJson {
  id: string;
  kind: "socket" | "switch" | "light" | "bond";
  space: string;
  colour: string;
  plans: Array<string> | null;
  vertices: Array<number>;
  triangles: Array<number>;
}

/** A strip of coating on a face, under the plans (by their ids) that put it there. */
export interface StripJson {
  panel: string;
  colour: string;
  plans: Array<string>;
  vertices: Array<number>;
  triangles: Array<number>;
}

/** A colour of the cables and what it says. */
export interface WiringKeyJson {
  colour: string;
  words: string;
}

/** The house wiring. `fields`: by plan and receiver, in words; "" where not worked out. */
export interface WiringJson {
  cables: Array<CableJson>;
  spots: Array<SpotJson>;
  strips: Array<StripJson>;
  key: Array<WiringKeyJson>;
  title: string;
  most_named: number;
  fields: Array<Array<string>>;
}

/** Everything that a picture shows; `north` is a unit vector. */
export interface SceneJson {
  format: 1;
  name: string;
  threshold_db: number;
  feet: boolean;
  north_rad: number;
  grade_m: number;
  bounds: Array<number>;
  scales: ScalesJson;
  cividis: Array<string>;
  look: LookJson;
  north: Array<number>;
  storeys: Array<StoreyJson>;
  spaces: Array<SpaceJson>;
  panels: Array<PanelJson>;
  walls: Array<WallJson>;
  plans: Array<PlanJson>;
  treatments: Array<TreatmentStyleJson>;
  sources: Array<SourceJson>;
  receivers: Array<ReceiverJson>;
  sights: Array<SightJson>;
  scopes: Array<ScopeJson>;
  beams: Array<BeamJson>;
  blocks: Array<BlockJson>;
  wiring: WiringJson | null;
  notes: Array<string>;
}

/** What changes with one plan; a panel that is left out is bare and lets nothing in. */
export interface ColumnJson {
  plan: PlanJson;
  panels: Record<string, PanelStateJson>;
  beams: Array<BeamShareJson | null>;
}

/** Outline of a panel on the disc of all directions. */
export interface SkyOutlineJson {
  panel: string;
  runs: Array<Array<number>>;
  mark: Array<number>;
}

/** A source on the disc of all directions. */
export interface SkySourceJson {
  id: string;
  label: string;
  at: Array<number>;
  rim: Array<number>;
}

/** All directions around a place; grids are run-length coded. */
export interface SkyViewJson {
  receiver: string;
  side: number;
  panels: Array<string>;
  first: Array<number>;
  losses: Array<Array<number>>;
  outlines: Array<SkyOutlineJson>;
  sources: Array<SkySourceJson>;
  scale_db: Array<number>;
  cividis: Array<string>;
}

/** All directions around a receiver; `moved` by plan, None where bed and sources stay. */
export interface SkyJson {
  receiver: string;
  side: number;
  panels: Array<string>;
  first: Array<number>;
  losses: Array<Array<number>>;
  outlines: Array<SkyOutlineJson>;
  sources: Array<SkySourceJson>;
  scale_db: Array<number>;
  cividis: Array<string>;
  moved: Array<SkyViewJson | null>;
}

/** A reading: where the meter was held, what it showed under a plan, whether it is explained. */
export interface ReadingJson {
  id: string;
  at: [number, number, number];
  space: string | null;
  plan: string;
  stands: "explained" | "not explained" | "cannot be told" | "not judged";
  colour: string;
  label: string;
  where: string;
  lines: Array<string>;
}
