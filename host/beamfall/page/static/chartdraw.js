// A panel of a chart as SVG. Shapes are in the units of their axes, and a role is a colour in chart.css.
// plot/scene.py says what each shape means; plot/draw.py draws the same data into files.
import { drawShape } from './chartshapes.js';
import { findObstacles, writeNote, writeOn } from './chartwords.js';
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
    inner.append(...drawShape(shape, place));
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

/** @param {Panel} panel @param {Place} place @param {View} view @param {number} height */
function drawAxes(panel, { x, y, from, to, frame }, view, height) {
  const g = s('g');
  const across = panel.x.whole ? 1 : 0;
  for (const [t, text] of listTicks(from, to, (frame.right - frame.left) / 90, across))
    g.append(
      s('line.grid', { x1: x(t), x2: x(t), y1: frame.top, y2: frame.bottom }),
      s('text.ticktext', { x: x(t), y: frame.bottom + 17, 'text-anchor': 'middle' }, text),
    );
  const middle = (frame.left + frame.right) / 2;
  g.append(s('text.ticktext', { x: middle, y: height - 6, 'text-anchor': 'middle' }, panel.x.label));
  if (panel.rows.length) return g;
  for (const [v, text] of listTicks(view.y[0], view.y[1], (frame.bottom - frame.top) / 26, 0))
    g.append(
      s('line.grid', { x1: frame.left, x2: frame.right, y1: y(v), y2: y(v) }),
      s('text.ticktext', { x: frame.left - 6, y: y(v) + 4, 'text-anchor': 'end' }, text),
    );
  g.append(s('text.ticktext', { x: 2, y: 13 }, panel.y.label));
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

/** @param {Row[]} rows @param {Place} place @param {number} width @param {boolean} narrow */
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
    s('line.lane', { x1: frame.left, x2: frame.right, y1: y(n), y2: y(n) }),
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
