// The shapes of a chart, as plot/scene.py describes them, in SVG.
import { s } from './dom.js';

/**
 * @typedef {import('./chartdraw.js').Shape} Shape
 * @typedef {import('./chartdraw.js').Place} Place
 */

/**
 * The two ends of a bar in pixels, kept in the frame; null where none of it is seen.
 * @param {Shape} bar
 * @param {Place} place
 */
export function findEnds(bar, { x, from, to, frame }) {
  const start = bar.start ?? from;
  const end = bar.end ?? to;
  if (end < from || start > to) return null;
  const left = Math.max(x(start), frame.left - 4);
  return [left, Math.max(Math.min(x(end), frame.right + 4), left + 3)];
}

const BAR = 11;
const OUTLINE = 16;

/** @param {Shape} bar @param {Place} place */
function drawBar(bar, place) {
  const ends = findEnds(bar, place);
  if (!ends) return null;
  const more = bar.planned ? 1 : 0;
  const tall = bar.planned ? OUTLINE : BAR;
  const open = bar.start === null || bar.end === null ? ' open' : '';
  const size = { x: ends[0] - more, width: ends[1] - ends[0] + 2 * more, height: tall, rx: 2 };
  const kind = bar.planned ? 'planned-bar' : `measured-bar c-${bar.role}${open}`;
  const drawn = s('rect', { ...size, y: place.y(bar.y) - tall / 2, class: kind }, s('title', bar.title));
  if (bar.handle === null || bar.handle === undefined) return drawn;
  drawn.dataset.bar = String(bar.handle);
  return [drawn, ...makeGrips(bar, ends, place)];
}

const FINGER = 32; // pixels that a finger can meet
const END = 12; // pixels at the end of a wide bar that change its length

/**
 * What is taken hold of to drag a bar: larger than the bar, and at the end of a wide one a part for its width.
 * A bar that fills the view has none: a finger on it moves the view.
 * @param {Shape} bar
 * @param {number[]} ends
 * @param {Place} place
 */
function makeGrips(bar, [left, right], place) {
  const begins = (bar.start ?? -Infinity) >= place.from,
    ends = (bar.end ?? Infinity) <= place.to;
  if (!begins && !ends) return [];
  const more = Math.max(0, (FINGER - (right - left)) / 2);
  const tall = { y: place.y(bar.y) - FINGER / 2, height: FINGER };
  const make = (/** @type {string} */ part, /** @type {number} */ x, /** @type {number} */ width) =>
    s(
      'rect',
      { ...tall, x, width, class: `grip ${part}`, 'data-handle': bar.handle, 'data-part': part },
      s('title', bar.title),
    );
  const whole = make('delay', left - more, right - left + 2 * more);
  return !ends || right - left < 4 * END ? [whole] : [whole, make('width', right - END, 2 * END)];
}

const fixed = (/** @type {number} */ v) => v.toFixed(1);
/** @param {number[]} xs @param {number[]} ys @param {Place} place */
const path = (xs, ys, { x, y }) =>
  xs.map((v, n) => `${n ? 'L' : 'M'}${fixed(x(v))} ${fixed(y(ys[n]))}`).join('');

/** @param {Shape} band @param {Place} place */
function drawBand(band, place) {
  const back = path([...band.xs].reverse(), [...band.low].reverse(), place).replace('M', 'L');
  return s('path', { d: `${path(band.xs, band.high, place)}${back}z`, class: `band c-${band.role}` });
}

/** @param {Shape} span @param {Place} place */
function drawSpan(span, { x, frame }) {
  const size = { x: x(span.low), width: x(span.high) - x(span.low), y: frame.top };
  return s('rect', { ...size, height: frame.bottom - frame.top, class: `band c-${span.role}` });
}

/** @param {Shape} rule @param {Place} place */
function drawRule(rule, { x, y, frame }) {
  const ends =
    rule.axis === 'x'
      ? { x1: x(rule.at), x2: x(rule.at), y1: frame.top, y2: frame.bottom }
      : { x1: frame.left, x2: frame.right, y1: y(rule.at), y2: y(rule.at) };
  return s('line', { ...ends, class: `line ${rule.style} c-${rule.role}` });
}

/** @param {Shape} dots @param {Place} place */
function drawDots(dots, { x, y, from, to }) {
  const radius = dots.xs.length > 300 ? 1.6 : 3;
  return dots.xs.map((/** @type {number} */ v, /** @type {number} */ n) => {
    if (v < from || v > to) return '';
    const mark = drawMark(dots.mark, x(v), y(dots.ys[n]), radius);
    mark.setAttribute('class', `${dots.mark === 'square' ? 'ring' : 'fill'} c-${dots.role}`);
    if (dots.titles.length) mark.append(s('title', dots.titles[n]));
    return mark;
  });
}

/** @param {string} kind @param {number} x @param {number} y @param {number} radius */
function drawMark(kind, x, y, radius) {
  if (kind === 'square') return s('rect', { x: x - 5, y: y - 5, width: 10, height: 10 });
  if (kind === 'star') return s('path', { d: star(x, y, 3, 8) });
  if (kind === 'fall') return s('path', { d: `M${x - 6} ${y - 6}h12l-6 12z` });
  return s('circle', { cx: x, cy: y, r: radius });
}

/** @param {Shape} stems @param {Place} place */
function drawStems(stems, { x, y, from, to }) {
  const d = stems.xs
    .map((/** @type {number} */ v, /** @type {number} */ n) =>
      v < from || v > to ? '' : `M${fixed(x(v))} ${fixed(y(stems.base))}V${fixed(y(stems.tops[n]))}`,
    )
    .join('');
  return d ? s('path', { d, class: `stem c-${stems.role}` }) : null;
}

/** @param {Shape} arrow @param {Place} place */
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

/**
 * The drawing of a shape; nothing where none of it is seen, or it is all words.
 * @param {Shape} shape
 * @param {Place} place
 */
export function drawShape(shape, place) {
  const drawn = DRAW[shape.shape]?.(shape, place);
  return drawn ? [drawn].flat() : [];
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
  const drawn = drawShape({ ...shape, ...sample }, place);
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
