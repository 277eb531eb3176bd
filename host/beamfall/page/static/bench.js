// The bench: the rig, the timings, the scene when the flash fires, the last shot.

import { isChanged, ready } from './bar.js';
import { makeCameraChoice } from './camera.js';
import { makeStrobeCaution } from './caution.js';
import { makeChart } from './chart.js';
import { makeDeviceName } from './device.js';
import { h, ms, number, s, show, watchTyping, write } from './dom.js';
import { makeFirst } from './first.js';
import { makeVoice } from './hands.js';
import { makeKeys } from './keys.js';
import { act, hear, makeLink, on, sayName, state } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeProblem } from './problem.js';
import { makeRigDrawing } from './rigdraw.js';
import { makeSplash } from './splash.js';

const WAITING_HELP =
  'After a shot, Release counts down until the surface has settled and the flash has recycled. Shift+R, or ' +
  'Release without waiting for the surface, skips the rest once. To change the rest for good, use the Rig view. ' +
  'The flash always needs its time to recycle, or the picture would be dark. Series, sweeps and searches wait ' +
  'automatically.';
const HERE_HELP =
  'This link works on this computer only. For a telephone or a tablet, start `beamfall page --listen 0.0.0.0:8080`.';
const CARE_HELP = 'Keep liquid away from the electronics.';

export function makeBench() {
  const timeline = makeChart({
    label: 'Timeline of the last shot',
    opens: 'Flash ±20 ms',
    empty: 'No shot yet. Press Arm (A), then Release (R).',
  });
  const view = h(
    'div.view.bench',
    h('div.p-ahead', makeStrobeCaution(), makeFirst()),
    h('section.panel.p-rig', h('h2', 'Rig, to scale'), makeRigDrawing()),
    h('section.panel.p-splash', h('h2', 'When the flash fires'), makeSplash()),
    h('section.panel.p-tune', h('h2', 'Timings'), makeTimings(), makeService()),
    h(
      'section.panel.p-time',
      h('div.row.spread', h('h2', 'Last shot'), timeline.buttons),
      timeline.box,
      timeline.legend,
    ),
  );
  on('shot', () => timeline.update(state.shot?.timeline));
  return view;
}

// -- timings ----------------------------------------------------------------------------------------------------
function makeTimings() {
  const spacing = makeTiming('spacing', 'Spacing of the drops');
  const delay = makeTiming('delay', 'Flash delay');
  const back = makeButton('Back to the plan', () => act('untune'));
  const words = h('span.soft');
  on(['plan', 'moment', 'asked'], () => {
    const plan = state.plan;
    back.disabled = !plan?.tuned;
    show(
      words,
      !plan
        ? 'Planning …'
        : plan.problem
          ? h('span.field-problem', plan.problem)
          : state.asked?.by_hand
            ? 'Not in use: Arm uses your own table'
            : `${plan.tuned || 'As planned'}; the flash follows ${plan.anchor}`,
    );
    spacing.root.hidden = plan?.spacing_ms === null;
    spacing.update(state.moment?.spacing_ms ?? plan?.spacing_ms, plan?.intervals?.spacing);
    delay.update(
      state.moment?.delay_ms ?? plan?.delay_ms,
      plan?.intervals?.flash_delay_at_planned_spacing ?? plan?.intervals?.flash_delay,
    );
  });
  return [
    makeTrend(),
    h('div.timings', spacing.root, delay.root),
    h('div.row.spread', words, h('span.row', h('a.button', { href: '#table' }, 'Table by hand'), back)),
  ];
}

// A drift of the drops, and one press that corrects for it.
function makeTrend() {
  const box = h('div.trend', { role: 'status' });
  on(['trend', 'asked'], () => {
    const trend = state.trend;
    const current = trend && trend.plan === state.asked?.number;
    box.hidden = !current;
    show(
      box,
      current
        ? [
            h('p', trend.drift, ' ', h('b', trend.needs)),
            makeButton('Correct the timings', () => act('correct', { shot: trend.shot })),
          ]
        : null,
    );
  });
  return box;
}

/** By how many ms a key changes a timing. @type {Record<string, number>} */
const KEY_STEPS = { ArrowUp: 0.1, ArrowDown: -0.1, PageUp: 1, PageDown: -1 };

/** @param {string} name @param {string} text */
function makeTiming(name, text) {
  const label = h('label', { for: `t-${name}` }, text);
  const field = h('input', {
    type: 'text',
    id: `t-${name}`,
    autocomplete: 'off',
    maxlength: 40,
    inputmode: 'decimal',
  });
  const slider = h('input', { type: 'range', step: 0.05, 'aria-label': text, id: `s-${name}` });
  const problem = makeProblem(field);
  /** @type {number | null} */
  let value = null;
  /** @type {string | null} */
  let wanted = null;
  let sending = false,
    by = 0;
  /** @param {string | null} spoken */
  const tell = async (spoken, more = 0) => {
    if (more) by = Math.round((by + more) * 1e3) / 1e3;
    else {
      wanted = spoken;
      by = 0;
    }
    if (sending) return;
    sending = true;
    // Only the newest value is sent, not those in between. Steps add up, and the server adds them to its own value:
    // the one shown here may be older.
    while (wanted !== null || by) {
      const now = wanted,
        more = by;
      wanted = null;
      if (now === null) by = 0;
      await problem.watch(
        now === null ? act('step', { of: name, by: `${more.toFixed(3)} ms` }) : act('tune', { [name]: now }),
      );
    }
    sending = false;
  };
  /** @param {number} more */
  const step = (more) => {
    if (value !== null) tell(null, more);
  };
  const minus = makeButton('−', () => step(-0.5), { 'aria-label': `${text}: 0.5 ms less` });
  const plus = makeButton('+', () => step(0.5), { 'aria-label': `${text}: 0.5 ms more` });
  const typing = watchTyping(field, () => writeValue());
  const writeValue = () => {
    if (value !== null && !typing()) write(field, `${number(value, 2)} ms`);
  };
  field.addEventListener('change', () => tell(field.value));
  field.addEventListener('keydown', (event) => {
    const by = KEY_STEPS[event.key];
    if (!by) return;
    event.preventDefault();
    if (typing()) field.dispatchEvent(new Event('change')); // a step from what has been typed
    step(by);
  });
  slider.addEventListener('input', () => tell(`${Number(slider.value).toFixed(3)} ms`));
  const root = h('div.timing', label, h('div.value', minus, field, plus), slider, problem.root);
  return {
    root,
    label,
    /** @param {number | null | undefined} fresh @param {Interval | undefined} interval */
    update(fresh, interval) {
      if (fresh === null || fresh === undefined) return;
      value = fresh;
      if (interval && document.activeElement !== slider) {
        const wide = Math.max(4, interval.p95 - interval.p5);
        slider.min = Math.max(0, Math.min(interval.p5 - wide * 0.4, fresh - 2)).toFixed(2);
        slider.max = Math.max(interval.p95 + wide * 0.4, fresh + 2).toFixed(2);
      }
      if (document.activeElement !== slider) slider.value = String(fresh);
      slider.setAttribute('aria-valuetext', ms(fresh));
      if (document.activeElement !== field || problem.root.hidden) writeValue();
    },
  };
}

// -- one drop, one flash ------------------------------------------------------------------------------------------
function makeService() {
  const opening = h('input', {
    type: 'text',
    placeholder: 'rig’s time',
    'aria-label': 'Opening of one drop',
    size: 9,
    maxlength: 20,
  });
  const length = h('input', {
    type: 'text',
    value: '2 s',
    'aria-label': 'Duration of the rinse',
    size: 5,
    maxlength: 20,
  });
  const count = h('input', { type: 'number', value: 5, min: 1, 'aria-label': 'Number of shots' });
  const [openingProblem, lengthProblem] = [opening, length].map((one) =>
    makeProblem(one, { take: () => {} }),
  );
  /**
   * @param {string} text
   * @param {() => Promise<unknown>} f
   * @param {{ watch: (f: Promise<unknown>) => unknown }} [how] where a refusal is told
   */
  const button = (text, f, how = { watch: attempt }) =>
    makeButton(text, () => how.watch(f()), { class: 'needs-board' });
  const unrested = button('Release without waiting for the surface', () =>
    act('release', { unrested: true }),
  );
  const series = button('Release a series of', () => act('release', { count: Number(count.value) }));
  const body = h(
    'details.service',
    h('summary', 'Series, single drop, flash, rinse, pictures, voice, devices, keys'),
    h('div.row', series, count, h('span.soft', 'shots of the armed sequence')),
    h(
      'div.row',
      h(
        'div.row',
        button('One drop', () => act('drip', { opening: opening.value }), openingProblem),
        h('span.soft', 'open for'),
        opening,
        openingProblem.root,
      ),
      h(
        'div.row',
        button('Rinse', () => act('rinse', { duration: length.value }), lengthProblem),
        h('span.soft', 'for'),
        length,
        lengthProblem.root,
      ),
    ),
    h(
      'div.row',
      button('One flash', () => act('flash')),
      button('Watch the beam', () => act('watch')),
      unrested,
    ),
    makeCameraChoice(),
    h('div.row', makeVoice()),
    makeInvitation(),
    makeDeviceName(sayName),
    makeKeys(),
    h('p.small.soft', WAITING_HELP),
    h('p.small.soft', CARE_HELP),
  );
  const said = h('p.soft.said');
  on(['job', 'link', 'armed', 'plan'], () => {
    for (const one of body.querySelectorAll('button.needs-board'))
      if (one instanceof HTMLButtonElement) one.disabled = !ready();
    series.disabled = unrested.disabled = !ready() || !state.armed || isChanged();
    const job = state.job;
    show(
      said,
      job && ['drip', 'flash', 'rinse'].includes(job.kind) && job.text ? `${job.title}: ${job.text}` : '',
    );
  });
  const edges = h('p.small.soft', { 'aria-live': 'off' });
  hear('edges', (event) => {
    if (event.activity === 'watch')
      show(
        edges,
        event.edges
          .slice(-4)
          .map(
            (/** @type {{ what: string, word: string, ms: number }} */ e) =>
              `${e.what} ${e.word} ${ms(e.ms, 1)}`,
          )
          .join(' · '),
      );
  });
  return [body, said, edges];
}

// A tablet or another browser needs another link: each link works once.
function makeInvitation() {
  const link = h('input', { type: 'text', readonly: true, size: 40, 'aria-label': 'Link', hidden: true });
  const code = h('div.linkcode');
  const ask = async () => {
    const made = await makeLink();
    link.value = made.link;
    link.hidden = false;
    link.select();
    // Until it listens on the network too, a code for a telephone's camera would lead nowhere.
    const here = ['127.0.0.1', '[::1]', 'localhost'].includes(new URL(made.link).hostname);
    show(code, here ? h('p.small', HERE_HELP) : drawCode(made.code));
  };
  const button = makeButton('Link for another device', () => ask());
  return h('div.row', button, link, code);
}

/** A QR code; its quiet zone is four modules wide (ISO/IEC 18004). @param {string[]} rows */
function drawCode(rows) {
  const dark = rows.flatMap((row, y) => [...row].map((one, x) => (one === '1' ? `M${x} ${y}h1v1h-1z` : '')));
  return s(
    'svg',
    {
      viewBox: `-4 -4 ${rows.length + 8} ${rows.length + 8}`,
      role: 'img',
      'aria-label': 'The link as a QR code: point a tablet’s camera at it',
    },
    s('path', { d: dark.join('') }),
  );
}
