// Records that the pictures' scripts hand to one another.
import type {
  LeakJson,
  PanelJson,
  ReadingJson,
  SceneJson,
  ScopeJson,
  SourceMarkJson,
  WallJson,
} from "./scene";

/** [x, y, z] in metres, or [x, y] in pixels. */
export type Point = number[];

/** three.js is given to the scripts by the page; its own types are not installed. */
// biome-ignore lint/suspicious/noExplicitAny: no types of three.js here
export type Three = any;

/** Which storeys a picture shows. */
export interface StoreyChoice {
  mode: "room" | "one" | "all" | "peel";
  id?: string;
  count?: number;
}

/** What a viewer shows: places in the scene's lists, and what is pointed at. */
export interface ViewState {
  plan: number;
  receiver: number;
  mode: "let-in" | "loss" | "treatment" | "wiring";
  beams: boolean;
  storeys: StoreyChoice;
  silent: Set<string>;
  readings: ReadingJson[];
  hovered: string | null;
  selected: string | null;
}

/** A face as it stands in the picture. */
export interface Face {
  panel: PanelJson;
  mesh: Three;
  across: Point;
  up: Point;
  outlines: Point[][];
  spans: number[];
  small: boolean;
  stands: boolean;
}

/** A wall's body, and the stub that is left of it before the eye. */
export interface WallBody {
  wall: WallJson;
  standing: Three;
  stub: Three;
}

/** A line: its ends, its colour and its width in pixels. */
export type Segment = [Point, Point, string, number];

/** A label that is wanted in a picture: at a place in pixels, the most important first. */
export interface Callout {
  kind: "compass" | "code" | "gap" | "face" | "source" | "receiver" | "hint" | "reading";
  text: string;
  at: Point;
  away?: number;
  fixed?: boolean;
  /** Other places for one that is fixed, asked for only where the first has no room. */
  elsewhere?: Iterable<Point>;
  near?: boolean;
}

/** Where the eye is: turned by a true azimuth and lifted, with a zoom against the whole picture. */
export interface CameraPlace {
  azimuth_rad: number;
  elevation_rad: number;
  zoom: number;
  target: Point;
}

/** What labels, pointing and the camera need to know of the stage. */
export interface StageLike {
  scene: SceneJson;
  faces: Face[];
  scope: ScopeJson;
  get(id: string | null): Face | undefined;
  leakOf(panel: PanelJson): LeakJson | null;
  anchorOf(face: Face, eye: Point): Point;
  /** Marks of the sources that are on. */
  marks(): SourceMarkJson[];
  /** Readings under the plan that is shown, in the rooms that are. */
  readings(): ReadingJson[];
  hints(): Array<{ text: string; at: Point }>;
}

/** Options of `mount`; see cutaway.js. */
export interface MountOptions {
  plan?: number;
  receiver?: number;
  mode?: ViewState["mode"];
  beams?: boolean;
  theme?: "light" | "dark";
  storeys?: StoreyChoice;
  wheel?: "focus" | "always";
  touchAction?: string;
  panelButtons?: boolean;
  describe?: (panel: PanelJson) => string[] | null;
  over?: Iterable<Element>;
  onPick?: (id: string | null, panel: PanelJson | null) => void;
  onHover?: (id: string | null) => void;
  onCamera?: (camera: CameraPlace) => void;
  onLost?: () => void;
}
