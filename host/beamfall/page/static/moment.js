// The scene when the flash fires: where the last drop, the jet and an umbrella would be, with intervals. The library
// gives the figures.
import { fit, h, mm, number, percent, s, show } from './dom.js';
import { on, state } from './net.js';

const UMBRELLA_MM = 14; // about as wide as it is soon after its contact; only a sign here

export function makeMoment() {
  const box = h('div.momentbox');
  const words = h('p.momentwords');
  const chances = h('ul.chances');

  const redraw = fit(box, (width, height) => {
    const m = state.moment;
    if (!m) {
      show(box, h('p.soft', state.plan?.problem ? '' : 'Drawn for collisions only.'));
      return;
    }
    const top = Math.max(40, m.jet_mm.p95 * 1.08, Math.min(m.drop_mm.p95 + m.diameter_mm, 120) * 1.06);
    const below = 9;
    const scale = (height - 8) / (top + below);
    /** @param {number} v */
    const y = (v) => 4 + (top - v) * scale;
    const middle = width * 0.28;
    /** @param {number} v */
    const x = (v) => middle + v * scale;
    const g = s('g');
    for (let v = 0; v <= top; v += top > 80 ? 20 : 10)
      g.append(
        s('line.grid', { x1: 0, x2: width, y1: y(v), y2: y(v) }),
        y(v) > 16 ? s('text.ticktext', { x: 4, y: y(v) - 4 }, v === 0 ? '0 mm' : String(v)) : '',
      );
    g.append(
      s('rect.liquid', { x: 0, y: y(0), width, height: below * scale }),
      s('line.surface', { x1: 0, x2: width, y1: y(0), y2: y(0) }),
    );
    /** @param {number} tip @param {string} kind */
    const column = (tip, kind) => {
      if (tip <= 0) return null;
      const half = 2.1,
        foot = 8,
        shoulder = y(Math.max(0, tip - half));
      return s('path', {
        class: kind,
        d:
          `M${x(-foot)} ${y(0)}Q${x(-half)} ${y(tip * 0.15)} ${x(-half)} ${shoulder}` +
          `A${half * scale} ${half * scale} 0 0 1 ${x(half)} ${shoulder}` +
          `Q${x(half)} ${y(tip * 0.15)} ${x(foot)} ${y(0)}z`,
      });
    };
    for (const part of [
      column(m.jet_mm.p95, 'jet far'),
      column(m.jet_mm.p50, 'jet mid'),
      column(m.jet_mm.p5, 'jet sure'),
    ])
      if (part) g.append(part);
    // Drop 3 and later ones strike the umbrella that the drops before have made.
    if (m.drops > 2 && m.contact_mm && m.contact_mm.p50 > 0) {
      const [rim, half] = [m.contact_mm.p50, UMBRELLA_MM / 2];
      g.append(
        s('path.umbrella', {
          d:
            `M${x(-half)} ${y(rim - 2)}Q${x(0)} ${y(rim + 4)} ${x(half)} ${y(rim - 2)}` +
            `Q${x(0)} ${y(rim + 2)} ${x(-half)} ${y(rim - 2)}z`,
        }),
      );
    }
    const radius = m.diameter_mm / 2;
    /** @param {number} low @param {string} kind */
    const ball = (low, kind) =>
      low + m.diameter_mm < 0
        ? null
        : s('circle', { cx: x(0), cy: y(low + radius), r: radius * scale, class: kind });
    for (const part of [
      ball(m.drop_mm.p5, 'drop faint'),
      ball(m.drop_mm.p95, 'drop faint'),
      ball(m.drop_mm.p50, 'drop planned thick'),
    ])
      if (part) g.append(part);
    /** @param {Interval} interval @param {number} at @param {string} name @param {string} kind */
    const bracket = ({ p5, p50, p95 }, at, name, kind) => {
      const [a, b] = [p5, p95].map((v) => y(Math.min(Math.max(v, -below), top)));
      const middle = y(Math.min(Math.max(p50, -below), top)),
        line = Math.max(14, Math.min(middle + 5, height - 22));
      g.append(
        s('path', {
          d: `M${at} ${a}v${b - a}M${at - 5} ${a}h10M${at - 5} ${b}h10`,
          class: `bracket ${kind}`,
        }),
        s('circle', { cx: at, cy: middle, r: 4, class: `dot ${kind}` }),
        s('text.label', { x: at + 9, y: line }, name),
        s('text.label', { x: at + 9, y: line + 16 }, said(p50)),
      );
    };
    bracket(m.jet_mm, width * 0.42, 'jet', 'of-jet');
    bracket(m.drop_mm, width * 0.72, `drop ${m.drops}`, 'of-drop');
    show(box, s('svg', { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': say(m) }, g));
  });

  on(['moment', 'plan'], () => {
    const m = state.moment;
    redraw();
    if (!m) {
      show(words);
      show(chances);
      return;
    }
    show(words, stage(m));
    show(
      chances,
      m.chances
        .filter((one) => one.chance >= 0.005)
        .map(({ word, meaning, chance }) => {
          const bar = h('i');
          bar.style.width = `${chance * 100}%`;
          return h(
            'li',
            h('span.word', word),
            h('span.meter', bar),
            h('span.figure', percent(chance)),
            h('span.meaning.soft.small', meaning),
          );
        }),
    );
  });
  return [box, words, chances];
}

// Far below the surface the drop has already struck: its height means nothing.
const OVER_MM = -20;
/** @param {number} middle */
const said = (middle) => (middle < OVER_MM ? 'has struck' : mm(middle, 0));

/** @param {MomentState} m */
function stage(m) {
  const drop = `drop ${m.drops}`,
    aim = m.drops > 2 ? 'the umbrella' : 'the jet';
  if (!m.stage_ms) return `With this spacing ${drop} almost never meets ${aim}.`;
  if (m.drop_mm.p95 < OVER_MM) return `Too late: ${drop} has almost certainly struck before the flash.`;
  const { p5, p50, p95 } = m.stage_ms;
  /** @param {number} v */
  const side = (v) => `${number(Math.abs(v), 1)} ms ${v < 0 ? 'before' : 'after'}`;
  return (
    `The flash fires ${side(p50)} ${drop} touches ${aim}; ` +
    `in 9 of 10 rigs that fit the file, ${side(p5)} to ${side(p95)}.`
  );
}
/** @param {MomentState} m */
function say(m) {
  /** @param {Interval} interval */
  const range = (interval) => `(${mm(interval.p5)} to ${mm(interval.p95)})`;
  const drop =
    m.drop_mm.p95 < OVER_MM ? 'has struck' : `${mm(m.drop_mm.p50)} above the surface ${range(m.drop_mm)}`;
  return `When the flash fires: jet ${mm(m.jet_mm.p50)} ${range(m.jet_mm)}, drop ${m.drops} ${drop}`;
}
