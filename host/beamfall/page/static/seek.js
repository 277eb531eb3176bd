// Seek: a form to start the search, its answers, and the timings it has found.

import { attempt } from './bar.js';
import { makeStrobeCaution } from './caution.js';
import { h, ms, percent, show } from './dom.js';
import { ended, field, makeAsking, makeBegin, text, tick } from './forms.js';
import { act, on, state } from './net.js';

export function makeSeek() {
  const stage = text('2 ms'),
    most = h('input', { type: 'number', min: 1, max: 100, value: 20 });
  const [fresh, freshBox] = tick('Ignore what was learned before');
  const [alone, aloneBox] = tick('Let the simulated photographer answer');
  const begin = makeBegin('Start', () =>
    act('seek', {
      stage: stage.value,
      shots: Number(most.value) || 20,
      fresh: fresh.checked,
      simulated_person: alone.checked,
    }),
  );
  const result = h('div', {});
  on('board', () => {
    aloneBox.hidden = !state.board?.simulated;
  });
  on('job_seek', () => {
    const job = state.job_seek;
    if (!job) return;
    const found = job.result;
    show(
      result,
      h(
        'p',
        {},
        [
          ended(job),
          job.state === 'running' ? job.text : '',
          `${job.done} ${job.done === 1 ? 'answer' : 'answers'}`,
        ]
          .filter(Boolean)
          .join(' · '),
      ),
      found
        ? h(
            'div',
            { class: 'finding' },
            h(
              'p',
              { class: 'found' },
              found.found
                ? `Found after ${found.shots} ${found.shots === 1 ? 'shot' : 'shots'}: ` +
                    (found.shot ? `shot ${found.shot} has the picture: ` : '') +
                    `spacing ${ms(found.spacing_ms)}, flash ${ms(found.delay_ms)} after ` +
                    `${found.by_beam ? `drop ${found.drops}’s edge` : 'the first opening'}.`
                : `Not found in ${found.shots} shots. ` +
                    (found.learned
                      ? 'Start again to continue with what was learned.'
                      : 'Nothing was learned: no picture showed anything.'),
            ),
            h(
              'button',
              {
                type: 'button',
                on: {
                  click: () =>
                    attempt(
                      act('tune', { spacing: `${found.spacing_ms} ms`, delay: `${found.delay_ms} ms` }),
                    ),
                },
              },
              'Use these timings',
            ),
          )
        : null,
      job.lines.at(-1)?.misfit
        ? h(
            'p',
            { class: 'field-problem' },
            'These answers hardly fit the rig file: check its heights, opening and liquid. The search now follows ' +
              'your answers.',
          )
        : null,
      job.lines.length
        ? h(
            'table',
            { class: 'plain' },
            h(
              'thead',
              {},
              h(
                'tr',
                {},
                ['shot', 'spacing', 'flash delay', 'answer', 'chance that this was the wanted picture'].map(
                  (name) => h('th', { scope: 'col' }, name),
                ),
              ),
            ),
            h(
              'tbody',
              {},
              job.lines.map((line) =>
                h(
                  'tr',
                  {},
                  h('td', {}, h('a', { href: `#log/${line.shot}` }, String(line.shot))),
                  h('td', {}, ms(line.spacing_ms)),
                  h('td', {}, ms(line.delay_ms)),
                  h('td', {}, line.answer),
                  h('td', {}, percent(line.chance)),
                ),
              ),
            ),
          )
        : null,
    );
  });
  return h(
    'div',
    { class: 'view' },
    makeAsking('seek'),
    h(
      'section',
      { class: 'panel' },
      h('h2', {}, 'Find the collision in few shots'),
      makeStrobeCaution(),
      h(
        'p',
        { class: 'soft' },
        'After each shot, say what the picture shows, and the next shot comes closer. The first shot may differ ' +
          'from the plan: it teaches the search the most. A black picture teaches the search nothing. ' +
          'Plans use what was learned; the Rig view lists it and can undo it.',
      ),
      h(
        'div',
        { class: 'fields' },
        field('Picture you want: 2 ms, or umbrella 15 mm wide', stage),
        field('Maximum shots', most),
      ),
      h('div', { class: 'row' }, freshBox, aloneBox),
      h('div', { class: 'row' }, begin),
    ),
    h('section', { class: 'panel' }, h('h2', {}, 'Answers so far'), result),
  );
}
