// Jobs of the page: their lines and results as the server sends them, kind by kind. For `tsc --checkJs`, as types.d.ts.

/** Something that the board does for a page; lines and result differ from kind to kind. */
interface Job<Line = unknown, Result = unknown> {
  id: number;
  kind: string;
  title: string;
  state: 'running' | 'ended' | 'aborted' | 'failed';
  text: string;
  note: string;
  done: number;
  of: number;
  rest_until: number | null;
  question: Question | null;
  lines: Line[];
  result: Result | null;
}

/** A shot of a sweep, as its contact sheet shows it. */
interface SweepLine {
  shot: number;
  value: string;
  state: string;
  shows: string | null;
  frame: number | null;
  drawn: boolean;
}

/** A shot of a search; `chance` is null where it taught nothing. */
interface SeekLine {
  shot: number;
  number: number;
  answer: string;
  spacing_ms: number | null;
  delay_ms: number;
  chance: number | null;
}

/** How a search ended. */
interface Sought {
  found: boolean;
  shots: number;
  chance: number;
  shot: number;
  source: string;
  spacing_ms: number | null;
  delay_ms: number;
  by_beam: boolean;
  drops: number;
  learned: boolean;
}

/** A test of a check, with what is likely after it. */
interface CheckLine {
  test: string;
  showed: string;
  asked: boolean;
  chances: { cause: string; chance: number }[];
}

/** What a check has found, the likeliest cause first. */
interface Finding {
  reason: string;
  advice: string;
  would_separate: string;
  timings: string;
  timings_from: { source: string; shot?: number; file?: string };
  ranked: { name: string; probability: number }[];
}

/** What a calibration has found; times of an effect are low, middle and high, in ms. */
interface Calibrated {
  rows: string[][];
  texts: string[];
  warnings: string[];
  effects: { name: string; before: number[]; after: number[] }[];
  kept: string | null;
}

/** An edge of a shot that was fired again: then and now. */
interface EdgeChange {
  what: string;
  edge: string;
  ordinal: number;
  then_us: number | null;
  now_us: number | null;
  difference_us: number | null;
  scatter_us: number | null;
  moved: boolean | null;
}

interface Repeated {
  of_shot: number;
  edges: EdgeChange[];
}
