// The rig to scale: nozzles, beams, dish; planned drops hollow, measured drops solid.

import { star } from './chartshapes.js';
import { at, calm, fit, h, ms, s, show } from './dom.js';
import { hear, on, state } from './net.js';

const MARGIN = { left: 34, right: 6, top: 22, bottom: 8 };
const SLOW = 12; // a replay takes this many times as long as the shot
const AFTER_MS = 60; // how long it continues after the light

function explainSolid() {
  const shot = state.shot;
  if (!shot) return 'Nothing has been measured yet.';
  // A shot of a search or a sweep is not drawn, nor one from before the timings were changed.
  if (!shot.trace) return `Shot ${shot.shot} is not drawn here; its timeline shows what was measured.`;
  return shot.shifts.some((shift) => shift !== null)
    ? 'Solid: measured by the beam.'
    : `The beam saw no drop of shot ${shot.shot}.`;
}

export function makeRigDrawing() {
  const box = h('div.rigbox');
  const clock = h('output.soft.small', { 'aria-live': 'off' });
  const play = h('button', { type: 'button', id: 'replay', disabled: true }, 'Replay');
  const scrub = h('input', {
    type: 'range',
    min: 0,
    max: 1000,
    step: 1,
    value: 0,
    disabled: true,
    'aria-label': 'Moment of the last shot',
    id: 'scrub',
  });
  const legend = h('p.small.soft.legend');
  const controls = h('div.row', play, clock);
  /** What moves in the drawing, and how it places mm on the page. @type {any} */
  let parts = null;
  let frame = 0;
  /** @type {number | null} the moment that is shown, while it runs */
  let moving = null;
  /** How much later than planned the drops of the shot that runs came, in ms; null: none runs.
   * @type {(number | null)[] | null} */
  let running = null;

  // Where everything is at a moment of a shot: planned by the trace, measured by the trace moved to the beam's edge.
  const trace = () => state.shot?.trace ?? state.plan?.trace ?? null;
  const range = () => {
    const t = trace();
    if (!t) return null;
    const start = Math.min(...t.drops.map((d) => d.ms[0])) - 25;
    return [start, t.light_ms[1] + AFTER_MS];
  };

  const redraw = fit(box, (width, height) => {
    const rig = state.rig?.drawing;
    if (!rig) return;
    const top = Math.max(...rig.valves.map((v) => v.height)) * 1.06 + 18;
    const depth = rig.dish.depth;
    const dish = rig.dish.diameter ?? 200;
    const reach = Math.max(dish / 2 + 12, ...rig.valves.map((v) => Math.abs(v.place) + 40));
    const scale = Math.min(
      (height - MARGIN.top - MARGIN.bottom) / (top + depth + 12),
      (width - MARGIN.left - MARGIN.right) / (2 * reach),
    );
    const x = (/** @type {number} */ mm) =>
      MARGIN.left + (width - MARGIN.left - MARGIN.right) / 2 + mm * scale;
    const y = (/** @type {number} */ mm) => height - MARGIN.bottom - (mm + depth + 8) * scale;
    const back = s('g');
    for (let cm = 0; cm * 10 <= top; cm += top > 900 ? 20 : 10) {
      back.append(
        s('line.tick', { x1: MARGIN.left - 8, x2: MARGIN.left - 2, y1: y(cm * 10), y2: y(cm * 10) }),
        s(
          'text.ticktext',
          { x: MARGIN.left - 12, y: y(cm * 10) + 4, 'text-anchor': 'end' },
          cm === 0 ? '0' : `${cm}`,
        ),
      );
    }
    back.append(s('text.ticktext', { x: MARGIN.left - 12, y: 13, 'text-anchor': 'end' }, 'cm'));
    const left = x(-dish / 2),
      right = x(dish / 2);
    back.append(
      s('rect.liquid', { x: left, y: y(0), width: right - left, height: depth * scale }),
      s('path.dish', { d: `M${left - 3} ${y(7)}V${y(-depth)}H${right + 3}V${y(7)}` }),
      s('line.surface', { x1: left, x2: right, y1: y(0), y2: y(0) }),
    );
    for (const valve of rig.valves) {
      const vx = x(valve.place),
        vy = y(valve.height);
      back.append(
        s('path.nozzle', { d: `M${vx - 11} ${vy - 18}h22v11h-7l-3 7h-2l-3 -7h-7z` }),
        s('line.tube', { x1: vx, x2: vx, y1: vy - 18, y2: Math.max(0, vy - 46) }),
        s('text.label', { x: vx + 16, y: vy - 7 }, valve.name),
      );
    }
    /** @type {Record<string, object>} */
    const beams = {};
    for (const beam of rig.beams) {
      const by = y(beam.height),
        bx = x(beam.place);
      const line = s('line.beamline', { x1: bx - 22, x2: bx + 22, y1: by, y2: by });
      const word = s('text.label.beamtext', { x: bx + 34, y: by + 21 });
      back.append(
        s('text.label.beamtext', { x: bx + 34, y: by + 4 }, beam.name),
        line,
        s('rect.beamend', { x: bx - 30, y: by - 6, width: 8, height: 12 }),
        s('rect.beamend', { x: bx + 22, y: by - 6, width: 8, height: 12 }),
        word,
      );
      beams[beam.line] = { line, word, beam };
    }
    const jet = s('path.jet');
    const drops = Array.from({ length: 8 }, () => ({
      planned: s('circle.drop.planned', { r: 0 }),
      measured: s('circle.drop.measured', { r: 0 }),
      tag: s('text.label', { 'text-anchor': 'start' }),
    }));
    const burst = s('path.burst', { d: '' });
    const front = s('g', jet, ...drops.flatMap((d) => [d.planned, d.measured, d.tag]), burst);
    show(
      box,
      s(
        'svg',
        {
          viewBox: `0 0 ${width} ${height}`,
          role: 'img',
          'aria-label': 'The rig to scale: nozzle, beam and dish, with the drops of the last shot',
        },
        back,
        front,
      ),
    );
    parts = { x, y, scale, drops, jet, burst, beams };
    showBeams();
    place(moving ?? resting());
  });

  function showBeams() {
    if (!parts) return;
    for (const [line, { line: mark, word }] of Object.entries(parts.beams)) {
      const is = state.live?.beams?.[line] ?? '';
      mark.setAttribute('data-word', is);
      word.textContent = is;
    }
  }

  const resting = () => {
    const t = trace();
    return t ? t.light_ms[1] : null;
  };

  /** @param {number | null} moment */
  function place(moment) {
    if (!parts) return;
    const t = trace();
    const shifts = running ?? (state.shot?.trace ? state.shot.shifts : []);
    const radius = t ? t.diameter_mm / 2 : 2;
    for (const [index, part] of parts.drops.entries()) {
      const drop = t?.drops[index];
      const draw = (/** @type {SVGCircleElement} */ circle, /** @type {number | null} */ when) => {
        const low = drop && when !== null ? at(drop.ms, drop.mm, when) : null;
        if (low === null) {
          circle.setAttribute('r', '0');
          return null;
        }
        circle.setAttribute('cx', parts.x(0));
        circle.setAttribute('cy', parts.y(low + radius));
        circle.setAttribute('r', String(Math.max(4.5, radius * parts.scale)));
        return low;
      };
      const planned = draw(part.planned, moment);
      const shift = shifts[index];
      const measured =
        shift === null || shift === undefined || moment === null
          ? draw(part.measured, null)
          : draw(part.measured, moment - shift);
      const low = measured ?? planned;
      part.tag.textContent = low === null ? '' : `drop ${drop?.number}`;
      if (low !== null) {
        part.tag.setAttribute('x', parts.x(0) + 12);
        part.tag.setAttribute('y', parts.y(low + radius) + 4);
      }
    }
    const tip = t && moment !== null ? at(t.jet_ms, t.jet_mm[1], moment) : null;
    if (tip === null || tip <= 0) parts.jet.setAttribute('d', '');
    else {
      const half = Math.max(2, 1.4 * parts.scale),
        foot = Math.max(5, 4.5 * parts.scale);
      const middle = parts.x(0),
        surface = parts.y(0);
      parts.jet.setAttribute(
        'd',
        `M${middle - foot} ${surface}Q${middle - half} ${surface} ${middle - half} ${parts.y(tip)}` +
          `h${2 * half}Q${middle + half} ${surface} ${middle + foot} ${surface}z`,
      );
    }
    const lit = t && moment !== null && Math.abs(moment - t.light_ms[1]) < 2.5 && t.light_ms[1] !== null;
    parts.burst.setAttribute('d', lit ? star(parts.x(0) - 30, parts.y(24), 4, 11) : '');
    clock.textContent = moment === null ? 'No shot planned' : `${ms(moment, 1)} after the release`;
    const r = range();
    if (r && moment !== null && document.activeElement !== scrub)
      scrub.value = String(Math.round((1000 * (moment - r[0])) / (r[1] - r[0])));
  }

  function run(
    /** @type {number} */ from,
    /** @type {number} */ to,
    /** @type {number} */ pace,
    /** @type {(() => void) | undefined} */ done = undefined,
  ) {
    cancelAnimationFrame(frame);
    if (calm()) {
      moving = null;
      place(resting());
      done?.();
      return;
    }
    const begin = performance.now();
    const step = () => {
      const moment = from + (performance.now() - begin) * pace;
      moving = moment;
      if (moment >= to) {
        moving = null;
        place(resting());
        done?.();
        return;
      }
      place(moving);
      frame = requestAnimationFrame(step);
    };
    step();
  }

  play.addEventListener('click', () => {
    const r = range();
    if (r) run(r[0], r[1], 1 / SLOW);
  });
  scrub.addEventListener('input', () => {
    cancelAnimationFrame(frame);
    const r = range();
    if (r) {
      moving = r[0] + ((r[1] - r[0]) * Number(scrub.value)) / 1000;
      place(moving);
    }
  });
  hear('state', (event) => {
    if (event.state === 'armed-for-sensor') {
      // released: the planned drops fall now, and each moves to where it is when the beam has seen it
      running = [];
      const pace = state.page?.pace ?? 1;
      const r = range();
      if (r) run(0, r[1], pace);
    }
  });
  hear('edges', (event) => {
    if (event.activity === 'shot' && running !== null) running = event.shifts;
  });
  /** @type {number | null} */
  let shown = null;
  on(['shot', 'plan'], () => {
    play.disabled = scrub.disabled = !trace();
    show(legend, `Hollow: planned. ${explainSolid()} Heights are above the liquid.`);
    if (state.shot && state.shot.shot !== shown) {
      const first = shown === null;
      running = null; // the shot's own record counts from here on
      shown = state.shot.shot;
      const r = range();
      if (r && !first && state.job?.of !== undefined && (state.job?.of ?? 0) <= 1) run(r[0], r[1], 1 / SLOW);
      else place(resting());
    } else if (moving === null) place(resting());
  });
  on('rig', redraw);
  on('live', showBeams);
  return [box, scrub, controls, legend];
}
