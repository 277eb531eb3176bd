// A panel of a chart as SVG. Shapes are in the units of their axes, and a role is a colour in parts.css.
// plot/scene.py says what each shape means; plot/draw.py draws the same data into files.
import { number, s } from './dom.js';

/**
 * @typedef {{shape: string, role: string, name?: string, [key: string]: any}} Shape
 * @typedef {{name: string, x: [number, number], y: [number, number]}} View
 * @typedef {{label: string, whole: boolean}} Axis
 * @typedef {{name: string, role: string, remark: string, alert: boolean}} Row
 * @typedef {{title: string, x: Axis, y: Axis, views: View[], shapes: Shape[], rows: Row[], said: string}} Panel
 * @typedef {{left: number, top: number, right: number, bottom: number}} Box
 * @typedef {{x: (v: number) => number, y: (v: number) => number, from: number, to: number, frame: Box}} Place
 */

const ROW = 42; // room for a bar, and for an arrow with its words above it
const TOP = 20; // for a word above the frame
const FOOT = 38; // for the figures of the x axis, and its label
const NARROW = 520; // pixels: below it, names and remarks have less room
const WORD_MOST = 8; // letters of a name or remark in one line of a narrow chart
const LETTER = 7.6; // pixels, about, of one letter of a note

let clips = 0;

/**
 * @param {Panel} panel
 * @param {View} view
 * @param {number} width
 * @param {number} tall height of a chart without rows
 */
export function drawPanel(panel, view, width, tall) {
  const rows = panel.rows.length > 0;
  const narrow = width < NARROW;
  const height = rows ? TOP + FOOT + (panel.rows.length + 0.25) * ROW : tall;
  const remarks = panel.rows.some((row) => row.remark);
  const frame = {
    left: rows ? (narrow ? 68 : 118) : 60,
    right: width - (remarks ? (narrow ? 62 : 96) : 24),
    top: TOP,
    bottom: height - FOOT,
  };
  const [from, to] = view.x;
  const [low, high] = view.y;
  const x = (/** @type {number} */ v) => frame.left + ((v - from) / (to - from)) * (frame.right - frame.left);
  const y = (/** @type {number} */ v) => frame.top + ((high - v) / (high - low)) * (frame.bottom - frame.top);
  const place = { x, y, from, to, frame };
  const id = `clip-${++clips}`;
  const inner = s('g', { 'clip-path': `url(#${id})` });
  const words = s('g');
  const size = { x: frame.left, y: frame.top, width: frame.right - frame.left };
  const svg = s(
    'svg',
    { viewBox: `0 0 ${width} ${height}`, height, role: 'img', 'aria-label': panel.said },
    s('clipPath', { id }, s('rect', { ...size, height: frame.bottom - frame.top })),
    drawAxes(panel, place, view, height),
    rows ? drawRows(panel.rows, place, width, narrow) : null,
    inner,
    words,
  );
  const taken = findObstacles(panel, place);
  for (const shape of panel.shapes) {
    const drawn = DRAW[shape.shape]?.(shape, place);
    if (drawn) inner.append(...[drawn].flat());
  }
  // Arrows and rules say what cannot be left out; notes take what room is left.
  for (const shape of panel.shapes) if (shape.shape !== 'Note') writeOn(words, shape, place, taken, width);
  for (const shape of panel.shapes) {
    if (shape.shape !== 'Note') continue;
    const free = panel.rows[Math.round(shape.y)]?.remark === '';
    writeNote(words, shape, place, taken, free ? width : frame.right);
  }
  return svg;
}

/**
 * @param {Panel} panel
 * @param {Place} place
 * @param {View} view
 * @param {number} height
 */
function drawAxes(panel, { x, y, from, to, frame }, view, height) {
  const g = s('g');
  const across = panel.x.whole ? 1 : 0;
  for (const [t, text] of listTicks(from, to, (frame.right - frame.left) / 90, across))
    g.append(
      s('line', { x1: x(t), x2: x(t), y1: frame.top, y2: frame.bottom, class: 'grid' }),
      s('text', { x: x(t), y: frame.bottom + 17, class: 'ticktext', 'text-anchor': 'middle' }, text),
    );
  const middle = (frame.left + frame.right) / 2;
  g.append(
    s('text', { x: middle, y: height - 6, class: 'ticktext', 'text-anchor': 'middle' }, panel.x.label),
  );
  if (panel.rows.length) return g;
  for (const [v, text] of listTicks(view.y[0], view.y[1], (frame.bottom - frame.top) / 26, 0))
    g.append(
      s('line', { x1: frame.left, x2: frame.right, y1: y(v), y2: y(v), class: 'grid' }),
      s('text', { x: frame.left - 6, y: y(v) + 4, class: 'ticktext', 'text-anchor': 'end' }, text),
    );
  g.append(s('text', { x: 2, y: 13, class: 'ticktext' }, panel.y.label));
  return g;
}

/**
 * Values between two ends, about `count` of them, with their figures.
 * @param {number} low
 * @param {number} high
 * @param {number} count
 * @param {number} least
 * @returns {[number, string][]}
 */
function listTicks(low, high, count, least) {
  const rough = (high - low) / Math.max(2, Math.floor(count));
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = Math.max(least, power * ([1, 2, 2.5, 5, 10].find((m) => m * power >= rough * 0.999) ?? 10));
  const digits = [0, 1, 2, 3].find((n) => Math.abs(step * 10 ** n - Math.round(step * 10 ** n)) < 1e-6) ?? 4;
  /** @type {[number, string][]} */
  const ticks = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + step * 1e-9; n++)
    ticks.push([n * step, number(n * step, digits)]);
  return ticks;
}

/**
 * @param {Row[]} rows
 * @param {Place} place
 * @param {number} width
 * @param {boolean} narrow
 */
function drawRows(rows, { y, frame }, width, narrow) {
  const kind = narrow ? 'label tight' : 'label';
  /** @param {string} text @param {number} x @param {number} n @param {string} more */
  const write = (text, x, n, more = '') => {
    const lines = narrow && text.length > WORD_MOST ? breakInTwo(text) : [text];
    return lines.map((line, at) => {
      const down = 5 + (at - (lines.length - 1) / 2) * 13;
      return s('text', { x, y: y(n) + down, class: kind + more, 'text-anchor': 'end' }, line);
    });
  };
  return rows.map((row, n) => [
    s('line', { x1: frame.left, x2: frame.right, y1: y(n), y2: y(n), class: 'lane' }),
    write(row.name, frame.left - 8, n),
    write(row.remark, width - 2, n, row.alert ? ' warn' : ''),
  ]);
}

/** Two lines, broken at the space that is nearest to the middle. @param {string} text */
function breakInTwo(text) {
  const middle = text.length / 2;
  const spaces = [...text.matchAll(/ /g)].map((found) => found.index);
  if (!spaces.length) return [text];
  const at = spaces.reduce((a, b) => (Math.abs(b - middle) < Math.abs(a - middle) ? b : a));
  return [text.slice(0, at), text.slice(at + 1)];
}

/**
 * The two ends of a bar in pixels, kept in the frame; null where none of it is seen.
 * @param {Shape} bar
 * @param {Place} place
 */
function findEnds(bar, { x, from, to, frame }) {
  const start = bar.start ?? from;
  const end = bar.end ?? to;
  if (end < from || start > to) return null;
  const left = Math.max(x(start), frame.left - 4);
  return [left, Math.max(Math.min(x(end), frame.right + 4), left + 3)];
}

const BAR = 11;
const OUTLINE = 16;

/**
 * @param {Shape} bar
 * @param {Place} place
 */
function drawBar(bar, place) {
  const ends = findEnds(bar, place);
  if (!ends) return null;
  const more = bar.planned ? 1 : 0;
  const tall = bar.planned ? OUTLINE : BAR;
  const open = bar.start === null || bar.end === null ? ' open' : '';
  const size = { x: ends[0] - more, width: ends[1] - ends[0] + 2 * more, height: tall, rx: 2 };
  const kind = bar.planned ? 'planned-bar' : `measured-bar c-${bar.role}${open}`;
  const drawn = s('rect', { ...size, y: place.y(bar.y) - tall / 2, class: kind }, s('title', {}, bar.title));
  if (bar.handle === null || bar.handle === undefined) return drawn;
  drawn.dataset.bar = String(bar.handle);
  return [drawn, ...makeGrips(bar, ends, place)];
}

const FINGER = 32; // pixels that a finger can meet
const END = 12; // pixels at the end of a wide bar that change its length

/**
 * What is taken hold of to drag a bar: larger than the bar, and at the end of a wide one a part for its width.
 * @param {Shape} bar
 * @param {number[]} ends
 * @param {Place} place
 */
function makeGrips(bar, [left, right], place) {
  const more = Math.max(0, (FINGER - (right - left)) / 2);
  const tall = { y: place.y(bar.y) - FINGER / 2, height: FINGER };
  const make = (/** @type {string} */ part, /** @type {number} */ x, /** @type {number} */ width) =>
    s(
      'rect',
      { ...tall, x, width, class: `grip ${part}`, 'data-handle': bar.handle, 'data-part': part },
      s('title', {}, bar.title),
    );
  const whole = make('delay', left - more, right - left + 2 * more);
  return right - left < 4 * END ? [whole] : [whole, make('width', right - END, 2 * END)];
}

const fixed = (/** @type {number} */ v) => v.toFixed(1);
/**
 * @param {number[]} xs
 * @param {number[]} ys
 * @param {Place} place
 */
const path = (xs, ys, { x, y }) =>
  xs.map((v, n) => `${n ? 'L' : 'M'}${fixed(x(v))} ${fixed(y(ys[n]))}`).join('');

/**
 * @param {Shape} band
 * @param {Place} place
 */
function drawBand(band, place) {
  const back = path([...band.xs].reverse(), [...band.low].reverse(), place).replace('M', 'L');
  return s('path', { d: `${path(band.xs, band.high, place)}${back}z`, class: `band c-${band.role}` });
}

/**
 * @param {Shape} span
 * @param {Place} place
 */
function drawSpan(span, { x, frame }) {
  const size = { x: x(span.low), width: x(span.high) - x(span.low), y: frame.top };
  return s('rect', { ...size, height: frame.bottom - frame.top, class: `band c-${span.role}` });
}

/**
 * @param {Shape} rule
 * @param {Place} place
 */
function drawRule(rule, { x, y, frame }) {
  const ends =
    rule.axis === 'x'
      ? { x1: x(rule.at), x2: x(rule.at), y1: frame.top, y2: frame.bottom }
      : { x1: frame.left, x2: frame.right, y1: y(rule.at), y2: y(rule.at) };
  return s('line', { ...ends, class: `line ${rule.style} c-${rule.role}` });
}

/**
 * @param {Shape} dots
 * @param {Place} place
 */
function drawDots(dots, { x, y, from, to }) {
  const radius = dots.xs.length > 300 ? 1.6 : 3;
  return dots.xs.map((/** @type {number} */ v, /** @type {number} */ n) => {
    if (v < from || v > to) return '';
    const mark = drawMark(dots.mark, x(v), y(dots.ys[n]), radius);
    mark.setAttribute('class', `${dots.mark === 'square' ? 'ring' : 'fill'} c-${dots.role}`);
    if (dots.titles.length) mark.append(s('title', {}, dots.titles[n]));
    return mark;
  });
}

/**
 * @param {string} kind
 * @param {number} x
 * @param {number} y
 * @param {number} radius
 */
function drawMark(kind, x, y, radius) {
  if (kind === 'square') return s('rect', { x: x - 5, y: y - 5, width: 10, height: 10 });
  if (kind === 'star') return s('path', { d: star(x, y, 3, 8) });
  if (kind === 'fall') return s('path', { d: `M${x - 6} ${y - 6}h12l-6 12z` });
  return s('circle', { cx: x, cy: y, r: radius });
}

/**
 * @param {Shape} stems
 * @param {Place} place
 */
function drawStems(stems, { x, y, from, to }) {
  const d = stems.xs
    .map((/** @type {number} */ v, /** @type {number} */ n) =>
      v < from || v > to ? '' : `M${fixed(x(v))} ${fixed(y(stems.base))}V${fixed(y(stems.tops[n]))}`,
    )
    .join('');
  return d ? s('path', { d, class: `stem c-${stems.role}` }) : null;
}

/**
 * @param {Shape} arrow
 * @param {Place} place
 */
function drawArrow(arrow, { x, y, from, to }) {
  if (arrow.end < from || arrow.start > to) return null;
  const [a, b, at] = [x(arrow.start), x(arrow.end), y(arrow.y)];
  const foot =
    arrow.foot === null
      ? ''
      : s('path', { d: `M${a} ${at}V${y(arrow.foot)}`, class: `line dotted c-${arrow.role}` });
  const heads = `M${a + 6} ${at - 4}L${a} ${at}l6 4M${b - 6} ${at - 4}L${b} ${at}l-6 4`;
  return [s('path', { d: `M${a} ${at}H${b}${heads}`, class: `line c-${arrow.role}` }), foot];
}

/** @type {Record<string, (shape: Shape, place: Place) => any>} */
const DRAW = {
  Bar: drawBar,
  Line: (line, place) =>
    s('path', { d: path(line.xs, line.ys, place), class: `line ${line.style} c-${line.role}` }),
  Band: drawBand,
  Span: drawSpan,
  Rule: drawRule,
  Dots: drawDots,
  Stems: drawStems,
  Arrow: drawArrow,
};

// -- words, where there is room -------------------------------------------------------------------------------------

/**
 * What words may not cover: bars, and marks on rows.
 * @param {Panel} panel
 * @param {Place} place
 * @returns {Box[]}
 */
function findObstacles(panel, place) {
  if (!panel.rows.length) return [];
  return panel.shapes.flatMap((shape) => {
    if (shape.shape === 'Dots')
      return shape.xs.map((/** @type {number} */ v, /** @type {number} */ n) =>
        makeBox(place.x(v) - 7, place.y(shape.ys[n]), 14),
      );
    const ends = shape.shape === 'Bar' ? findEnds(shape, place) : null;
    return ends ? [makeBox(ends[0], place.y(shape.y), ends[1] - ends[0])] : [];
  });
}

/**
 *
 * @param {number} x
 * @param {number} y
 * @param {number} width
 * @returns {Box} a line of words, or as high as one, that begins at x around the height y
 */
const makeBox = (x, y, width) => ({ left: x, right: x + width, top: y - 7, bottom: y + 7 });
/**
 * @param {Box} a
 * @param {Box} b
 */
const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

/**
 * The words of an arrow or a rule, which are written even where there is little room.
 * @param {Element} words
 * @param {Shape} shape
 * @param {Place} place
 * @param {Box[]} taken
 * @param {number} width of the whole chart
 */
function writeOn(words, shape, { x, y, from, to, frame }, taken, width) {
  if (!shape.text) return;
  const wide = shape.text.length * LETTER;
  let at = frame.right - 4;
  let base = 0;
  let anchor = 'end';
  if (shape.shape === 'Arrow') {
    if (shape.end < from || shape.start > to) return;
    const middle = (Math.max(x(shape.start), frame.left) + Math.min(x(shape.end), frame.right)) / 2;
    // Words wider than the frame may use the margins: between two rows these are empty.
    const [left, right] = wide <= frame.right - frame.left ? [frame.left, frame.right] : [0, width];
    at = Math.max(Math.min(middle, right - wide / 2), left + wide / 2);
    base = y(shape.y) - 3;
    anchor = 'middle';
  } else if (shape.axis === 'x') {
    if (shape.at < from || shape.at > to) return;
    at = x(shape.at) + 4;
    base = frame.top - 4;
    anchor = 'start';
  } else {
    base = y(shape.at) - 5;
    if (base < frame.top - 6 || base > frame.bottom) return;
  }
  taken.push(makeBox(at - wide * SHARES[anchor], base - 4, wide));
  words.append(
    s('text', { x: at, y: base, class: `said c-${shape.role}`, 'text-anchor': anchor }, shape.text),
  );
}
/** @type {Record<string, number>} */
const SHARES = { start: 0, middle: 0.5, end: 1 }; // of the words that lie left of their anchor

/**
 * @param {Element} words
 * @param {Shape} note
 * @param {Place} place
 * @param {Box[]} taken
 * @param {number} right where the room for its words ends
 */
function writeNote(words, note, { x, y, from, to, frame }, taken, right) {
  if (note.x < from || note.x > to) return;
  const wide = note.text.length * LETTER + 4;
  const [at, middle] = [x(note.x), y(note.y)];
  const places = [
    { at: at + 9, anchor: 'start', middle },
    { at: at - 9, anchor: 'end', middle },
    { at, anchor: 'start', middle: middle - 14 },
  ];
  for (const place of places) {
    const box = makeBox(place.at - wide * SHARES[place.anchor], place.middle, wide);
    if (box.left < frame.left || box.right > right || taken.some((other) => meet(box, other))) continue;
    taken.push(box);
    const kind = note.role === 'bad' ? 'said c-bad' : 'ticktext';
    const spot = { x: place.at, y: place.middle + 4, 'text-anchor': place.anchor };
    words.append(s('text', { ...spot, class: kind }, note.text));
    return;
  }
}

/** A small drawing of a shape for the legend. @param {Shape} shape */
export function makeSample(shape) {
  const place = {
    x: (/** @type {number} */ v) => v,
    y: (/** @type {number} */ v) => v,
    from: 0,
    to: 24,
    frame: { left: 0, top: 2, right: 24, bottom: 14 },
  };
  const flat = { xs: [0, 24], ys: [8, 8], low: [14, 14], high: [2, 2] };
  const open = shape.start === null || shape.end === null;
  const sample = {
    Bar: { y: 8, start: open ? null : 3, end: 21, title: '', role: 'soft' },
    Line: flat,
    Band: flat,
    Span: { low: 0, high: 24 },
    Rule: { axis: 'y', at: 8 },
    Dots: { xs: [12], ys: [8], titles: [] },
    Stems: { xs: [8, 12, 16], base: 14, tops: [2, 2, 2] },
  }[shape.shape];
  const drawn = [DRAW[shape.shape]({ ...shape, ...sample }, place)].flat();
  return s('svg', { viewBox: '0 -4 24 24', width: 24, height: 18, 'aria-hidden': 'true' }, ...drawn);
}

/**
 * The path of a star with eight points.
 * @param {number} cx
 * @param {number} cy
 * @param {number} inner
 * @param {number} outer
 */
export function star(cx, cy, inner, outer) {
  let d = '';
  for (let i = 0; i < 16; i++) {
    const r = i % 2 ? inner : outer;
    const a = (Math.PI * i) / 8;
    d += `${i ? 'L' : 'M'}${cx + r * Math.cos(a)} ${cy + r * Math.sin(a)}`;
  }
  return `${d}z`;
}
