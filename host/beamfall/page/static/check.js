// Check: finds out why nothing flashes.

import { makeStrobeCaution } from './caution.js';
import { h, joined, percent, show } from './dom.js';
import { ended, makeAsking, makeBegin, tick } from './forms.js';
import { act, on, state } from './net.js';

export function makeCheck() {
  const [alone, aloneBox] = tick('Let the simulated person answer');
  const begin = makeBegin('Find out what is wrong', () => act('check', { simulated_person: alone.checked }));
  const body = h('div');
  const result = h('section.panel', { hidden: true }, h('h2', 'What was found'), body);
  on('board', () => {
    aloneBox.hidden = !state.board?.simulated;
  });
  on('job_check', () => {
    const job = state.job_check;
    if (!job) return;
    const found = job.result,
      last = job.lines.at(-1);
    result.hidden = false;
    show(
      body,
      h('p', joined(ended(job), job.state === 'running' ? job.text : '')),
      found
        ? h(
            'div.finding',
            h('p.found', found.reason),
            h('p', found.advice),
            found.would_separate ? h('p.soft', found.would_separate) : null,
            h('p.soft', `Timings checked: ${found.timings}. There may be more than one cause.`),
            ranks(found.ranked.slice(0, 5).map((one) => [one.name, one.probability])),
          )
        : last
          ? ranks(last.chances.map((one) => [one.cause, one.chance]))
          : null,
      job.lines.length
        ? h(
            'ol.tests',
            job.lines.map((line) =>
              h('li', h('b', line.test), line.asked ? ' (you answered)' : '', ': ', line.showed),
            ),
          )
        : null,
    );
  });
  return h(
    'div.view',
    makeAsking('check'),
    result,
    h(
      'section.panel',
      h('h2', 'Nothing flashes, or something else is wrong'),
      makeStrobeCaution(),
      h(
        'p.soft',
        'The board tests what it can, and Beamfall asks you only about what the board cannot see. ' +
          'It asks once before it starts, then releases drops and fires the flash, without Arm.',
      ),
      h('div.row', begin, aloneBox),
    ),
  );
}
/** @param {[string, number][]} pairs */
const ranks = (pairs) =>
  h(
    'ul.chances.wide',
    pairs
      .filter(([, chance]) => chance >= 0.005)
      .map(([name, chance]) => {
        const bar = h('i');
        bar.style.width = `${chance * 100}%`;
        return h(
          'li',
          h('span.word', name.replaceAll('-', ' ')),
          h('span.meter', bar),
          h('span.figure', percent(chance)),
        );
      }),
  );
