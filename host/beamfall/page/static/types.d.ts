// What the server sends, and what the page's modules hand to each other. For `tsc --checkJs`; no browser loads this.

/** 5, 50 and 95 % of the rigs that fit the rig file. */
interface Interval {
  p5: number;
  p50: number;
  p95: number;
}

/** A section of the server's state is null where there is nothing to show, and missing until it comes. */
interface BeamfallState {
  page?: { version: string; pace: number };
  link?: LinkState | null;
  board?: BoardState | null;
  live?: LiveState | null;
  armed?: { name: string; of: number } | null;
  resting?: { rest_until: number | null; recycle_until: number | null } | null;
  rig?: RigState | null;
  learned?: { head: number; newest: number } | null;
  plan?: PlanState | null;
  asked?: { number: number; by_hand: boolean };
  table?: TableState | null;
  moment?: MomentState | null;
  shot?: ShotState | null;
  trend?: TrendState | null;
  devices?: string[];
  acted?: { who: string; did: string; at: number } | null;
  pictures?: PicturesState | null;
  job?: Job | null;
  job_sweep?: Job<SweepLine, { series: number; of: string }> | null;
  job_seek?: Job<SeekLine, Sought> | null;
  job_recipe?: Job<{ day?: string }> | null;
  slots?: { slots: SlotState[] } | null;
  job_check?: Job<CheckLine, Finding> | null;
  job_calibrate?: Job<unknown, Calibrated> | null;
  notices?: Notice[];
  [section: string]: unknown;
}

/** A slot of the board; `name` is null where it is empty, '' where nobody here knows what it holds. */
interface SlotState {
  slot: number;
  name: string | null;
  rows?: number;
  ready?: boolean;
  first?: boolean;
}

interface PicturesState {
  kind: string;
  camera: string;
  kinds: string[];
  folder: string | null;
  state: string;
}

interface LinkState {
  state: 'up' | 'lost' | 'none' | 'connecting';
  text?: string;
  health?: string;
  round_trip_ms?: number | null;
  frames_bad?: number;
  retransmissions?: number;
  reconnections?: number;
  restarts?: number;
}

interface BoardState {
  name: string;
  port: string;
  firmware: string;
  timing: string;
  clock_hz: number;
  simulated: boolean;
}

interface LiveState {
  state?: string;
  activity?: string;
  cause?: { word: string; meaning: string; cure: string } | null;
  beams?: Record<string, string>;
}

interface GuideQuestion {
  key: string;
  number: number;
  ask: string;
  how: string;
  also: string;
  suggestion: string;
  options: string[];
}

interface GuideStep {
  answers: string;
  problem: string;
  likely: string[];
  remarks: string[];
  total: number;
  question: GuideQuestion | null;
  drawing: { width: number; height: number; shapes: [string, Record<string, string | number>, string][] };
}

interface RigField {
  path: string;
  label: string;
  help: string;
  expected: string;
  limits: string;
  value: string;
  said: string;
  default: string;
  example: string;
  problems: string[];
  likely: string[];
  needed: boolean;
  options?: string[];
}

interface RigSection {
  path: string;
  title: string;
  help: string;
  fields: RigField[];
}

/** The rig to scale, in mm; `line` is a beam's input, as `live.beams` has it. */
interface RigDrawing {
  valves: { name: string; height: number; place: number; bore: number }[];
  beams: { name: string; line: string; height: number; place: number }[];
  flashes: string[];
  dish: { depth: number; diameter: number | null };
  drops: number;
}

interface RigState {
  name: string;
  file: string | null;
  saved: boolean;
  is_example: boolean;
  typed_name: string;
  form: RigSection[];
  problems: string[];
  wrong: number;
  rest_s: number;
  drawing: RigDrawing;
}

interface PlanState {
  problem?: string;
  kind: string;
  anchor: string;
  spacing_ms: number | null;
  delay_ms: number;
  stage_ms: number;
  chance: number | null;
  /** Where the timings come from, in words; empty where they are the plan's own. */
  tuned: string;
  intervals: Record<string, Interval>;
  quantities: Record<string, Interval>;
  anchors: { said: string; scatter: number; chosen: boolean; why: string }[];
  warnings: string[];
  assumptions: string[];
  trace: Trace | null;
  chart: Panel | null;
}

/** A row of the table by hand: its texts as its fields show them, and its times as its bar has them. */
interface TableRow {
  output: string;
  label: string;
  kind: string;
  anchor: string;
  count: number;
  where: string;
  delay: string;
  width: string;
  delay_ms: number;
  width_ms: number;
}

/** The table by hand, with what the limits of the board say of it; `board` is empty while none is connected. */
interface TableState {
  name: string;
  board: string;
  in_use: boolean;
  chart: Panel | null;
  problems: { row: number | null; text: string }[];
  caution: string;
  rows: TableRow[];
  whole: { key: string; value: string; options: string[] | null }[];
  outputs: { name: string; label: string }[];
  beams: string[];
  can_undo: boolean;
  can_redo: boolean;
}

interface MomentState {
  spacing_ms: number;
  delay_ms: number;
  /** The number of the last drop, which `drop_mm`, `contact_mm` and `stage_ms` are of. */
  drops: number;
  jet_mm: Interval;
  drop_mm: Interval;
  contact_mm: Interval | null;
  stage_ms: Interval | null;
  diameter_mm: number;
  chances: { word: string; meaning: string; chance: number }[];
}

/** A drift since an earlier shot, for the plan of that number, and what corrects it. */
interface TrendState {
  shot: number;
  plan: number;
  drift: string;
  needs: string;
}

interface ShotState {
  plan: number;
  series: number;
  shot: number;
  state: string;
  seen: string | null;
  picture: string | null;
  rating: number | null;
  note: string;
  timeline: Panel | null;
  trace: Trace | null;
  shifts: (number | null)[];
}

/** Where the drops and the jet are in a shot, in ms from the release and mm above the liquid. */
interface Trace {
  drops: {
    number: number;
    ms: number[];
    mm: number[];
    edge_ms: number | null;
    beam: [string, string] | null;
  }[];
  jet_ms: number[];
  jet_mm: number[][];
  light_ms: number[];
  diameter_mm: number;
}

/** A shot as the log lists it; times in ms. */
interface ListedShot {
  shot: number;
  series: number;
  number: number;
  time: number;
  state: string;
  cause: string | null;
  rig: string | null;
  port: string;
  kind: string;
  anchor: string;
  delay_ms: number | null;
  spacing_ms: number | null;
  purpose: string;
  rating: number | null;
  note: string;
  picture: string | null;
}

interface Question {
  id: number;
  text: string;
  hint: string;
  cautions: string[];
  free: boolean;
  shot: number | null;
  measured: MeasuredPicture | null;
  choices: { value: string; words: string }[];
}

/** What was measured in a photograph: `Measured.describe` of beamfall.photos.measure. Marks in its pixels. */
interface MeasuredPicture {
  width: number;
  height: number;
  stage: string | null;
  marks: Record<string, { column: number; row: number; error: number; by_hand: boolean }>;
}

/** A line of the shown notices: the server's have an id, the page's own have none. */
interface Notice {
  id?: number;
  level: string;
  text: string;
  at?: number;
  own?: boolean;
  brief?: boolean;
  timed?: boolean;
}

interface ServerMessage {
  version: number;
  now: number;
  at: number;
  all?: BeamfallState;
  set?: BeamfallState;
  event?: string;
}

/** Attributes of an element, `text` and `value` among them; `on` has its listeners. */
type Props = Record<string, unknown> & { on?: Listeners };
type Listeners = { [E in keyof HTMLElementEventMap]?: (event: HTMLElementEventMap[E]) => void };
/** Makes an element from its tag and classes, such as `p.soft`, its attributes (may be left out) and its children. */
type MakeElement<Tags> = <S extends (keyof Tags & string) | `${keyof Tags & string}.${string}`>(
  selector: S,
  ...content: [Props, ...Child[]] | Child[]
) => TagOf<S> extends keyof Tags ? Tags[TagOf<S>] : never;
type TagOf<S> = S extends `${infer Tag}.${string}` ? Tag : S;
type Panel = import('./chartdraw.js').Panel;
type Child = Node | string | number | boolean | null | undefined | Child[];

/** A shot with its edges, as `/shots/N` sends it. */
interface ShotDetail {
  line: ListedShot;
  unknown: boolean;
  seen: string | null;
  picture_file: string | null;
  exposure: string;
  measured: MeasuredPicture | null;
  measured_words: string;
  keywords: string[];
  board: { name: string; firmware: string; timing: string };
  seed: number | null;
  edges: ShotEdge[];
  timeline: Panel | null;
}

interface ShotEdge {
  what: string;
  edge: string;
  planned_ms: number | null;
  measured_ms: number | null;
  source: string;
}

/** An element of the log's list that shows one shot at a time, those in sight. */
interface LogCell {
  root: HTMLElement;
  fill: (line: ListedShot, at: number) => void;
  at: number;
  shot: number;
  used: boolean;
}
