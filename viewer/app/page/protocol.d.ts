// Generated from viewer/app/protocol by tests/js/declarations.py; not to be edited.

import type { ColumnJson, ReadingJson, SceneJson, SkyJson, WiringJson } from "./scene";

/** A wall by the name that a row of the file gives it. */
export interface SeeWall {
  do: "wall";
  on: string;
}

/** An opening of a wall by its lower left and upper right corner. [m] */
export interface HoleTold {
  id: string;
  kind: string;
  low: [number, number];
  high: [number, number];
}

/** An outlet, a box or a bond on a wall. [m] */
export interface SpotTold {
  id: string;
  kind: string;
  at: [number, number];
}

/** A wall from its left end to its right, up from the floor [m]; or why it is not drawn. */
export interface WallTold {
  tell: "wall";
  on: string;
  panel: string | null;
  title: string;
  outline: Array<[number, number]>;
  openings: Array<HoleTold>;
  marks: Array<SpotTold>;
  trouble: string | null;
}

/** Plans and receiver that the page shows. */
export interface Look {
  do: "look";
  plans: Array<string>;
  receiver: string | null;
}

/** Give faces these treatments under a plan, the one on the surface first. */
export interface Treat {
  do: "treat";
  plan: string;
  panels: Array<string>;
  treatments: Array<string>;
}

/** Add a plan that starts as another one is; without an id it gets the next free one. */
export interface NewPlan {
  do: "new-plan";
  beside: string;
  how?: "copy" | "extension";
  id?: string | null;
}

/** Put a receiver elsewhere in its room: its room's own coordinates, height over its floor. */
export interface Move {
  do: "move";
  receiver: string;
  at: [number | string, number | string, number | string];
}

/** Cast what is missing. */
export interface Cast {
  do: "cast";
}

/** Stop casting. */
export interface Halt {
  do: "halt";
}

/** All directions around a receiver. */
export interface SeeSky {
  do: "sky";
  receiver: string;
}

/** What a click on each treatment of a face would bring, put on these faces. */
export interface SeeChoices {
  do: "choices";
  plan: string;
  panel: string;
  panels: Array<string>;
  receiver: string;
}

/** What a plan costs; `total` in words, None where nothing of it has a price. */
export interface BillTold {
  total: string | null;
  unpriced: Array<string>;
}

/** What a choice brings; `level_w_m2` is None without a source, `more` is what it costs more. */
export interface ChoiceTold {
  treatments: Array<string>;
  level_w_m2: number | null;
  reduction_db: number | null;
  below_now_db: number | null;
  more: string | null;
}

/** What a click on each treatment of a face brings, by treatment. */
export interface ChoicesTold {
  tell: "choices";
  plan: string;
  panel: string;
  choices: Record<string, ChoiceTold>;
}

/** The plan that was made for the page. */
export interface PlanTold {
  tell: "plan";
  id: string;
}

/** Take the last edit back. */
export interface Undo {
  do: "undo";
}

/** Do again what was taken back. */
export interface Redo {
  do: "redo";
}

/** Write the text into the file. */
export interface Save {
  do: "save";
  overwrite?: boolean;
}

/** Take what the file holds now. */
export interface ReadAgain {
  do: "read-again";
}

/** Take another text of the job file, sound or not. */
export interface SetText {
  do: "text";
  text: string;
}

/** Go on with the unsaved edits of an earlier session. */
export interface TakeUp {
  do: "take-up";
}

/** Drop the unsaved edits of an earlier session. */
export interface Drop {
  do: "drop";
}

/** Try again to become the one program that may change the job. */
export interface TryLock {
  do: "try-lock";
}

/** Whether the page shows the file: its text and its tables are told with every change. */
export interface SeeFile {
  do: "file";
  on: boolean;
}

/** Give keys of a table other values, as typed; None takes a key away. */
export interface SetKeys {
  do: "set-keys";
  table: string;
  row: number | null;
  id: string | null;
  typed: Record<string, string | null>;
  parts?: Record<string, Array<Record<string, string>>>;
}

/** Add a table that comes many times, with what was typed; one without an id gets a free one. */
export interface AddRow {
  do: "add-row";
  table: string;
  typed: Record<string, string>;
  parts?: Record<string, Array<Record<string, string>>>;
}

/** Take a table away that comes many times; with what names it only where that is said. */
export interface RemoveRow {
  do: "remove-row";
  table: string;
  row: number;
  id: string | null;
  with_named?: boolean;
}

/** Give a table another id, wherever it is named. */
export interface Rename {
  do: "rename";
  table: string;
  row: number;
  id: string;
  name: string;
}

/** The file and what is under way; `mark` is another one whenever the text is. */
export interface Status {
  file: string;
  folder: string;
  saved: boolean;
  mark: string;
  undo: string | null;
  redo: string | null;
  disk: "same" | "changed" | "gone";
  other: number | null;
  waiting: boolean;
  questions: Array<QuestionTold>;
  casting: number | null;
  stopped: boolean;
}

/** A fault of the file; `line` counts from 1. */
export interface FaultTold {
  line: number | null;
  key: string | null;
  text: string;
}

/** A key that a table may have, and how its value is typed. */
export interface KeyTold {
  key: string;
  kind: "text" | "number" | "truth" | "choice" | "brackets";
  said: string;
  example: string;
  choices: Array<string>;
  names: string | null;
  closed: boolean;
  needed: boolean;
  parts: PartsTold | null;
}

/** What stands in the brackets of a value; `alone` where it may also be one plain value. */
export interface PartsTold {
  shape: "table" | "tables" | "names" | "map";
  keys: Array<KeyTold>;
  alone: boolean;
}

/** A sort of row that can be added: what is asked for it, and what it has already. */
export interface StarterTold {
  title: string;
  keys: Array<string>;
  typed: Record<string, string>;
}

/** A table that a project file may have. */
export interface TableTold {
  table: string;
  title: string;
  one: string;
  many: boolean;
  keys: Array<KeyTold>;
  starters: Array<StarterTold>;
}

/** The text of the file, and its tables with their values as they would be typed. */
export interface FileTold {
  tell: "file";
  text: string;
  tables: Array<TableTold>;
  rows: Record<string, Array<Record<string, string>>>;
  parts: Record<string, Array<Record<string, Array<Record<string, string>>>>>;
  names: Record<string, Array<string>>;
}

/** Why a value was not taken; `part` and `inner` say where in its brackets. */
export interface FieldTrouble {
  key: string;
  part: number | null;
  inner: string;
  message: string;
}

/** Why what was typed into a table was not taken. */
export interface FieldsTold {
  tell: "fields";
  table: string;
  row: number | null;
  troubles: Array<FieldTrouble>;
}

/** What names a table that is to go, and would go or change with it. */
export interface NamedTold {
  tell: "named";
  table: string;
  row: number;
  id: string | null;
  rows: Array<string>;
}

/** A job that has faults. */
export interface FaultyTold {
  tell: "faulty";
  status: Status;
  text: string;
  faults: Array<FaultTold>;
}

/** The status alone. */
export interface StatusTold {
  file: string;
  folder: string;
  saved: boolean;
  mark: string;
  undo: string | null;
  redo: string | null;
  disk: "same" | "changed" | "gone";
  other: number | null;
  waiting: boolean;
  questions: Array<QuestionTold>;
  casting: number | null;
  stopped: boolean;
  tell: "status";
}

/** The file has changed on disk: whether to write over it. */
export interface OverwriteTold {
  tell: "overwrite";
  text: string;
}

/** Say what a model's panels are made of; None takes what the model says. */
export interface SetAssembly {
  do: "set-assembly";
  panels: Array<string>;
  assembly: string | null;
}

/** Say what kind a model's panels are; None takes what the model says. */
export interface SetKind {
  do: "set-kind";
  panels: Array<string>;
  kind: string | null;
}

/** What a model file holds; unit and up where its format says neither. */
export interface ListModel {
  do: "model";
  path: string;
  unit?: string;
  up?: string;
}

/** Write a job file for rooms of a model. */
export interface ImportModel {
  do: "import";
  path: string;
  unit?: string;
  up?: string;
  file?: string;
  spaces: Array<string>;
  bed?: string;
}

/** Take something that the model leaves open as it is assumed to be. */
export interface Accept {
  do: "accept";
  question: string;
}

/** What a model says of a panel, and what the job file says of it by its id. */
export interface ModelPanel {
  kind: string;
  assembly: string | null;
  names: Array<string>;
  materials: Array<string>;
  type: string | null;
  reason: string;
  rule: string | null;
  own_assembly: string | null;
  own_kind: string | null;
}

/** The model that the rooms come from. */
export interface ModelTold {
  source: string;
  kinds: Array<string>;
  assemblies: Array<string>;
  panels: Record<string, ModelPanel>;
}

/** What the start page lets one choose from for a model. */
export interface ModelChoices {
  units: Array<string>;
  axes: Array<string>;
  unstated: Array<string>;
}

/** A storey of a model. */
export interface ModelStorey {
  id: string;
  floor_m: number;
}

/** A room of a model; `trouble` says why it cannot be imported. */
export interface ModelSpace {
  id: string;
  name: string;
  storey: string;
  area_m2: number;
  volume_m3: number;
  trouble: string;
}

/** What a model file holds. */
export interface ListingTold {
  tell: "listing";
  source: string;
  format: string;
  storeys: Array<ModelStorey>;
  spaces: Array<ModelSpace>;
  notes: Array<string>;
  more_notes: number;
}

/** Something that the model leaves open, what counts meanwhile, and how to settle it. */
export interface QuestionTold {
  id: string;
  words: string;
  settle: string;
}

/** Why a model cannot be used. */
export interface ModelTroubleTold {
  tell: "model-trouble";
  message: string;
}

/** What can be made of the job, where it may go, and which other jobs there are. */
export interface SeeMenu {
  do: "menu";
}

/** Write a page, picture or list of the job as it stands; without a name it is only shown. */
export interface MakeOutput {
  do: "make";
  output: string;
  plan: string | null;
  receiver: string | null;
  name: string;
  folder?: "job" | "home";
  overwrite?: boolean;
}

/** Write the text as it stands into another file, and go on with the one that is open. */
export interface SaveCopy {
  do: "save-copy";
  name: string;
  folder?: "job" | "home";
}

/** Open another job of those that the menu names; unsaved edits stay beside the one before. */
export interface OpenJob {
  do: "open";
  path: string;
}

/** Go to the form that begins a job. */
export interface BeginJob {
  do: "begin";
}

/** Something that can be made: how a file of it is called, and what it asks for. */
export interface OutputTold {
  id: string;
  group: string;
  title: string;
  said: string;
  name: string;
  takes_plan: boolean;
  text: boolean;
}

/** Another job that can be opened. */
export interface JobFileTold {
  path: string;
  name: string;
  folder: string;
  recent: boolean;
}

/** What the menu offers. */
export interface MenuTold {
  tell: "menu";
  outputs: Array<OutputTold>;
  folder: string;
  home: string;
  copy: string;
  jobs: Array<JobFileTold>;
}

/** What has been made: the file with its address here, a text to read, or why it was not. */
export interface MadeTold {
  tell: "made";
  output: string;
  file: string | null;
  address: string | null;
  text: string | null;
  trouble: string | null;
  exists: boolean;
}

/** Write a job file from the form of the start page; `typed` is what its fields hold. */
export interface MakeJob {
  do: "form";
  file: string;
  typed: Record<string, unknown>;
}

/** The start page: what its fields let one choose, as value and words. */
export interface FormTold {
  tell: "form";
  folder: string;
  model: ModelChoices;
  choices: Record<string, Array<[string, string]>>;
}

/** What is wrong with a field of the start page. */
export interface Trouble {
  where: string;
  message: string;
}

/** What is wrong with the start page's form. */
export interface TroublesTold {
  tell: "troubles";
  troubles: Array<Trouble>;
}

/** The sequence for a receiver; for the worst of all of them where none is named. */
export interface SeeSteps {
  do: "steps";
  receiver: string | null;
}

/** Show everything up to and with a step in the picture; the file stays as it is. */
export interface TryStep {
  do: "try-step";
  receiver: string | null;
  number: number;
}

/** Write what is tried out into the file as a plan of its own. */
export interface KeepStep {
  do: "keep-step";
  title: string;
}

/** A step in words; `share` is what is left of today's level. */
export interface StepTold {
  number: number;
  does: Array<string>;
  level: string;
  share: number;
  change: string;
  cost: string;
  total: string;
  warns: string;
}

/** Something that costs nothing, such as a router that is switched off at night. */
export interface FreeTold {
  words: string;
  change: string;
  agreed: string;
}

/** A step on the plot: what has been paid by then, and the level that is left. [W/m²] */
export interface PointTold {
  number: number;
  cost: number;
  level: number;
  low: number;
  high: number;
  worth: boolean;
  words: string;
}

/** A round figure on an axis. */
export interface TickTold {
  value: number;
  words: string;
}

/** Cost against level; `front` are plans that no other beats, as cost and level. [W/m²] */
export interface PlotTold {
  across: string;
  up: string;
  today: number;
  start: number;
  steps: Array<PointTold>;
  front: Array<[number, number]>;
  costs: Array<TickTold>;
  levels: Array<TickTold>;
}

/** The sequence: what to do first, then, and what is not worth its money. */
export interface StepsTold {
  tell: "steps";
  receiver: string | null;
  of: string;
  today: string;
  free: Array<FreeTold>;
  first: Array<StepTold>;
  then: Array<StepTold>;
  rest: Array<StepTold>;
  stop: string;
  worse: Array<string>;
  rests: Array<string>;
  notes: Array<string>;
  plot: PlotTold | null;
  trouble: string | null;
}

/** The plan that is tried out in the picture; `note` says what it does about sources. */
export interface TriedTold {
  tell: "tried";
  plan: string;
  number: number;
  note: string;
}

/** Everything about a job that is sound. */
export interface JobTold {
  tell: "job";
  status: Status;
  scene: SceneJson;
  assemblies: Record<string, string>;
  treatments: Record<string, string>;
  titles: Record<string, string>;
  only_on: Record<string, Array<string>>;
  places: Record<string, [number, number, number]>;
  origins: Record<string, [number, number]>;
  losses: Record<string, Record<string, Record<string, Array<number | null>>>>;
  bills: Record<string, BillTold>;
  beyond: Array<string>;
  assumed: boolean;
  tried: string | null;
  model: ModelTold | null;
}

/** What is new of some plans. */
export interface ColumnsTold {
  tell: "columns";
  plans: Array<string>;
  columns: Record<string, ColumnJson>;
  losses: Record<string, Record<string, Record<string, Array<number | null>>>>;
  bills: Record<string, BillTold>;
  beyond: Array<string>;
  tried: string | null;
}

/** How much of the casting is done. */
export interface ProgressTold {
  tell: "progress";
  share: number;
}

/** All directions around a receiver. */
export interface SkyTold {
  tell: "sky";
  sky: SkyJson;
}

/** Readings of the job; they are judged a moment after they are first told. */
export interface ReadingsTold {
  tell: "readings";
  readings: Array<ReadingJson>;
}

/** One sentence. */
export interface SayTold {
  tell: "say";
  text: string;
  tone: "plain" | "bad";
}

/** What is wrong with what was typed, told at its form; `field` counts from 0, None for none. */
export interface TroubleTold {
  tell: "trouble";
  at: "place" | "plan" | "copy";
  field: number | null;
  message: string;
}

/** Another job is open here now: the page begins anew. */
export interface ReloadTold {
  tell: "reload";
}

/** Whether the page shows the faces of a room to place outlets on, and under which plan. */
export interface SeeWiring {
  do: "wiring";
  on: boolean;
  space?: string | null;
  plan?: string | null;
}

/** An opening in a face; `outline` in the face's own coordinates. */
export interface CutoutTold {
  kind: string;
  title: string;
  outline: Array<number>;
}

/** A run behind a face: two points; `likely` where a rule has put it there. */
export interface BehindTold {
  id: string;
  ends: Array<number>;
  likely: boolean;
}

/** An outlet or a bond; `lamp`: where a lamp beside it would stand, as it would be typed. */
export interface MarkTold {
  id: string;
  kind: string;
  at: Array<number>;
  lamp: string | null;
}

/** A face seen from inside: metres from its left end, and above the floor. */
export interface DrawnFaceTold {
  panel: string;
  title: string;
  kind: string;
  outline: Array<number>;
  origin: Array<number>;
  axes: Array<number>;
  openings: Array<CutoutTold>;
  behind: Array<BehindTold>;
  strips: Array<Array<number>>;
  marks: Array<MarkTold>;
}

/** What to mind, at each place where work is proposed. */
export interface CautionsTold {
  work: Array<string>;
  bond: string;
  strip: string;
}

/** Faces of a room, for the page that shows its wiring. */
export interface WiringTold {
  tell: "wiring";
  space: string;
  plan: string;
  faces: Array<DrawnFaceTold>;
  conductive: Array<string>;
  cautions: CautionsTold;
}

/** The wiring's field: `old` while it is worked out anew. */
export interface FieldTold {
  tell: "field";
  state: "none" | "old" | "new" | "trouble";
  said: string;
  sentences: Record<string, Record<string, string>>;
  verdict: string;
  wiring: WiringJson | null;
}

export type Asked = Look | Treat | NewPlan | Move | Undo | Redo | Save | ReadAgain | SetText | SetAssembly | SetKind | TakeUp | Drop | TryLock | Cast | Halt | SeeSky | SeeFile | SetKeys | AddRow | RemoveRow | Rename | SeeChoices | Accept | SeeWall | SeeSteps | TryStep | KeepStep | SeeWiring | SeeMenu | MakeOutput | SaveCopy | OpenJob | BeginJob | MakeJob | ListModel | ImportModel;
export type Told = JobTold | FaultyTold | ColumnsTold | StatusTold | ProgressTold | SkyTold | ReadingsTold | FileTold | FieldsTold | NamedTold | ChoicesTold | PlanTold | SayTold | TroubleTold | OverwriteTold | FormTold | TroublesTold | ListingTold | ModelTroubleTold | WallTold | StepsTold | TriedTold | WiringTold | FieldTold | MenuTold | MadeTold | ReloadTold;
