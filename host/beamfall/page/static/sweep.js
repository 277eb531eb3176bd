// Sweep: one timing walked through its range; a form to start it, and its contact sheet.

import { makeStrobeCaution } from './caution.js';
import { h, joined, select, show } from './dom.js';
import { ended, field, makeBegin, text } from './forms.js';
import { act, on, state } from './net.js';
import { makePicture } from './pictures.js';

/** The step of each timing where none is typed. @type {Record<string, string>} */
const STEPS = { flash: '1 ms', spacing: '4 ms', opening: '0.5 ms' };

export function makeSweep() {
  const of = select([['flash', 'flash delay'], 'spacing', 'opening']);
  const planned = 'as the plan suggests';
  const [first, last, step, rest] = [planned, planned, STEPS.flash, 'the rig’s rest'].map((one) => text(one));
  of.addEventListener('change', () => {
    step.placeholder = STEPS[of.value];
  });
  const repeat = h('input', { type: 'number', min: 1, max: 100, value: 1 });
  const order = select([
    ['line', 'in order, lowest first'],
    ['interleave', 'interleaved: up, then back'],
    ['shuffle', 'shuffled'],
  ]);
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
  const words = h('p'),
    sheet = h('ol.sheet', { 'aria-label': 'Contact sheet, lowest value first' });
  const result = h('section.panel', { hidden: true }, h('h2', 'Result'), words, sheet);
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
    words.textContent = joined(
      ended(job),
      job.of ? `${job.done} of ${job.of} steps fired` : '',
      job.result ? `series ${job.result.series}` : '',
    );
    for (const line of job.lines) {
      if (!cells.has(line.shot)) {
        const said = h('span.soft');
        cells.set(line.shot, {
          said,
          root: h(
            'li',
            h(
              'a',
              { href: `#log/${line.shot}` },
              h('div.pic', makePicture(line.shot, { known: line.drawn })),
              h('b', line.value),
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
    'div.view',
    result,
    h(
      'section.panel',
      h('h2', 'Step one timing through a range'),
      makeStrobeCaution(),
      h(
        'p.soft',
        'The sweep fires its first shot at once, without Arm. Each shot uses a different value. If the ' +
          'rig drifts slowly, choose interleaved or shuffled order, or the drift looks like an effect of the ' +
          'timing.',
      ),
      h(
        'div.fields',
        field('Sweep', of),
        field('From', first),
        field('To', last),
        field('Step', step),
        field('Rounds', repeat),
        field('Order', order),
        field('Rest between shots', rest),
      ),
      h('div.row', begin, resume),
    ),
  );
}
