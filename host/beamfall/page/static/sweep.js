// Sweep: one timing walked through its range; a form to start it, and its contact sheet.

import { makeStrobeCaution } from './caution.js';
import { h, show } from './dom.js';
import { ended, field, makeBegin, text } from './forms.js';
import { act, on, state } from './net.js';
import { makePicture } from './pictures.js';

/** The step of each timing where none is typed. @type {Record<string, string>} */
const STEPS = { flash: '1 ms', spacing: '4 ms', opening: '0.5 ms' };

export function makeSweep() {
  const of = h(
    'select',
    {},
    h('option', { value: 'flash' }, 'flash delay'),
    h('option', { value: 'spacing' }, 'spacing'),
    h('option', { value: 'opening' }, 'opening'),
  );
  const [first, last, step, rest] = [
    text('as the plan suggests'),
    text('as the plan suggests'),
    text(STEPS.flash),
    text('the rig’s rest'),
  ];
  of.addEventListener('change', () => {
    step.placeholder = STEPS[of.value];
  });
  const repeat = h('input', { type: 'number', min: 1, max: 100, value: 1 });
  const order = h(
    'select',
    {},
    h('option', { value: 'line' }, 'in order, lowest first'),
    h('option', { value: 'interleave' }, 'interleaved: up, then back'),
    h('option', { value: 'shuffle' }, 'shuffled'),
  );
  const begin = makeBegin(
    'Start the sweep',
    () =>
      act('sweep', {
        of: of.value,
        first: first.value,
        last: last.value,
        step: step.value,
        repeat: Number(repeat.value) || 1,
        order: order.value,
        rest: rest.value,
      }),
    { from: first, to: last, step, rest },
  );
  const resume = makeBegin('Resume the last sweep', () => act('sweep_resume'));
  const words = h('p', {}),
    sheet = h('ol', { class: 'sheet', 'aria-label': 'Contact sheet, lowest value first' });
  const result = h('section', { class: 'panel', hidden: true }, h('h2', {}, 'Result'), words, sheet);
  let cells = new Map(),
    /** @type {number | null} */
    shown = null; // shot -> its cell: a picture is asked for once
  on('job_sweep', () => {
    const job = state.job_sweep;
    if (!job) return;
    result.hidden = false;
    if (shown !== job.id) {
      shown = job.id;
      cells = new Map();
    }
    words.textContent = [
      ended(job),
      job.of ? `${job.done} of ${job.of} steps fired` : '',
      job.result ? `series ${job.result.series}` : '',
    ]
      .filter(Boolean)
      .join(' · ');
    for (const line of job.lines) {
      if (!cells.has(line.shot)) {
        const said = h('span', { class: 'soft' });
        cells.set(line.shot, {
          said,
          root: h(
            'li',
            {},
            h(
              'a',
              { href: `#log/${line.shot}` },
              h('div', { class: 'pic' }, makePicture(line.shot, { known: line.drawn })),
              h('b', {}, line.value),
              said,
            ),
          ),
        });
      }
      cells.get(line.shot).said.textContent =
        ` shot ${line.shot}, ${line.state}${line.shows ? `: ${line.shows}` : ''}` +
        (line.frame ? `, frame ${line.frame}` : '');
    }
    const order = job.lines.map((line) => cells.get(line.shot).root);
    if (order.length !== sheet.children.length || order.some((root, n) => sheet.children[n] !== root))
      show(sheet, order);
  });
  return h(
    'div',
    { class: 'view' },
    result,
    h(
      'section',
      { class: 'panel' },
      h('h2', {}, 'Step one timing through a range'),
      makeStrobeCaution(),
      h(
        'p',
        { class: 'soft' },
        'The sweep fires its first shot at once: you need not arm. Each shot uses another value. If the rig ' +
          'drifts slowly, choose interleaved or shuffled order: then the drift does not look like an effect of ' +
          'the timing.',
      ),
      h(
        'div',
        { class: 'fields' },
        field('Sweep', of),
        field('From', first),
        field('To', last),
        field('Step', step),
        field('Rounds', repeat),
        field('Order', order),
        field('Rest between shots', rest),
      ),
      h('div', { class: 'row' }, begin, resume),
    ),
  );
}
