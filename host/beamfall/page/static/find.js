// Sweep, seek, check, calibrate: a form to begin, what is under way, and what came of it.
import { h, show, ms, number, percent } from './dom.js';
import { state, on, act } from './net.js';
import { attempt, ready, makeQuestion } from './bar.js';
import { makePicture } from './pictures.js';
import { makeStrobeCaution } from './caution.js';

const field = (label, input) => {
  input.id ||= `g-${label.replace(/[^a-z]/gi, '')}-${Math.random().toString(36).slice(2, 7)}`;
  return h('div', { class: 'field' }, h('label', { for: input.id }, label), input);
};
const text = (placeholder, value = '') =>
  h('input', { type: 'text', placeholder, value, maxlength: 40, autocomplete: 'off' });
const tick = (label, checked = false) => {
  const box = h('input', { type: 'checkbox', checked });
  return [box, h('label', { class: 'tick' }, box, ' ', label)];
};
const ended = (job) =>
  job.state === 'ended'
    ? ''
    : job.state === 'running'
      ? 'under way'
      : job.state === 'aborted'
        ? 'aborted: all outputs are off'
        : `failed: ${job.text}`;

// The question of a job stands in its view, rebuilt only when it is another one.
function makeAsking(kind) {
  const box = h('div', {});
  let shown = null;
  on('job', () => {
    const job = state.job;
    const question = job?.kind === kind && job.state === 'running' ? job.question : null;
    if ((question?.id ?? null) === shown) return;
    shown = question?.id ?? null;
    show(
      box,
      question
        ? h('section', { class: 'panel asking', 'aria-live': 'polite' }, makeQuestion(question))
        : null,
    );
    if (question && box.isConnected) box.firstChild.scrollIntoView(); // it waits for an answer, wherever the page had been scrolled to
  });
  return box;
}

function makeBegin(label, f) {
  const button = h('button', { type: 'button', class: 'begin', on: { click: () => attempt(f()) } }, label);
  on(['job', 'link'], () => {
    button.disabled = !ready();
  });
  return button;
}

export function makeSweep() {
  const of = h(
    'select',
    {},
    h('option', { value: 'flash' }, 'flash delay'),
    h('option', { value: 'spacing' }, 'spacing'),
    h('option', { value: 'opening' }, 'opening'),
  );
  const [first, last, step, rest] = [
    text('the planner’s 5 %'),
    text('the planner’s 95 %'),
    text('1 ms, 4 ms or 0.5 ms'),
    text('the rig’s rest'),
  ];
  const repeat = h('input', { type: 'number', min: 1, max: 100, value: 1 });
  const order = h(
    'select',
    {},
    h('option', { value: 'line' }, 'in line, lowest first'),
    h('option', { value: 'interleave' }, 'interleaved, up and back'),
    h('option', { value: 'shuffle' }, 'shuffled'),
  );
  const result = h('div', {});
  const begin = makeBegin('Begin the sweep', () =>
    act('sweep', {
      of: of.value,
      first: first.value,
      last: last.value,
      step: step.value,
      repeat: Number(repeat.value) || 1,
      order: order.value,
      rest: rest.value,
    }),
  );
  const resume = makeBegin('Go on with the last one', () => act('sweep_resume'));
  const words = h('p', {}),
    sheet = h('ol', { class: 'sheet', 'aria-label': 'Contact table, lowest value first' });
  result.append(words, sheet);
  let cells = new Map(),
    shown = null; // shot -> its cell: a picture is asked for once
  on('job_sweep', () => {
    const job = state.job_sweep;
    if (!job) return;
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
        ` shot ${line.shot}, ${line.state}${line.shows ? `: ${line.shows}` : ''}${line.frame ? `, frame ${line.frame}` : ''}`;
    }
    const order = job.lines.map((line) => cells.get(line.shot).root);
    if (order.length !== sheet.children.length || order.some((root, n) => sheet.children[n] !== root))
      show(sheet, order);
  });
  return h(
    'div',
    { class: 'view' },
    h(
      'section',
      { class: 'panel' },
      h('h2', {}, 'Walk one timing through its range'),
      makeStrobeCaution(),
      h(
        'p',
        { class: 'soft' },
        'Each shot with another value. Interleaved or shuffled, a rig that drifts does not pass for an effect of the value.',
      ),
      h(
        'div',
        { class: 'fields' },
        field('What is swept', of),
        field('From', first),
        field('To', last),
        field('Step', step),
        field('Rounds', repeat),
        field('Order', order),
        field('Rest between shots', rest),
      ),
      h('div', { class: 'row' }, begin, resume),
    ),
    h('section', { class: 'panel' }, h('h2', {}, 'What came of it'), result),
  );
}
export function makeSeek() {
  const stage = text('2 ms, or the rig’s aim'),
    most = h('input', { type: 'number', min: 1, max: 100, value: 20 });
  const [fresh, freshBox] = tick('leave out what seeking and calibrating have shown before');
  const [alone, aloneBox] = tick('the simulated photographer answers');
  const begin = makeBegin('Begin to seek', () =>
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
        [ended(job), job.state === 'running' ? job.text : '', `${job.done} answers`]
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
                ? `Found after ${found.shots} ${found.shots === 1 ? 'shot' : 'shots'}: spacing ${ms(found.spacing_ms)}, flash ${ms(found.delay_ms)} after drop 2’s edge.`
                : `Not found in ${found.shots} shots. ${found.learned ? 'Seek again: it goes on from what it has learned.' : 'Nothing was learned: no picture showed anything.'}`,
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
                ['shot', 'spacing', 'flash delay', 'answer', 'chance that it is the one wanted'].map((name) =>
                  h('th', { scope: 'col' }, name),
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
        'After each shot, say what the picture shows; the next one comes closer. The first spacing is the one whose answer should tell most, and so may differ from the plan’s. Of a black picture nothing is learned.',
      ),
      h(
        'div',
        { class: 'fields' },
        field('Light after the contact', stage),
        field('At most so many shots', most),
      ),
      h('div', { class: 'row' }, freshBox, aloneBox),
      h('div', { class: 'row' }, begin),
    ),
    h('section', { class: 'panel' }, h('h2', {}, 'Answers so far'), result),
  );
}

export function makeCheck() {
  const [alone, aloneBox] = tick('the simulated person answers');
  const begin = makeBegin('Find out what is wrong', () => act('check', { simulated_person: alone.checked }));
  const result = h('div', {});
  on('board', () => {
    aloneBox.hidden = !state.board?.simulated;
  });
  on('job_check', () => {
    const job = state.job_check;
    if (!job) return;
    const found = job.result;
    show(
      result,
      h('p', {}, [ended(job), job.state === 'running' ? job.text : ''].filter(Boolean).join(' · ')),
      found
        ? h(
            'div',
            { class: 'finding' },
            h('p', { class: 'found' }, found.reason),
            h('p', {}, found.advice),
            found.would_separate ? h('p', { class: 'soft' }, found.would_separate) : null,
            h('p', { class: 'soft' }, `Timings checked: ${found.timings}. Several causes can be so at once.`),
            ranks(found.ranked.slice(0, 5).map((one) => [one.name, one.probability])),
          )
        : job.lines.length
          ? ranks(job.lines.at(-1).chances.map((one) => [one.cause, one.chance]))
          : null,
      job.lines.length
        ? h(
            'ol',
            { class: 'tests' },
            job.lines.map((line) =>
              h('li', {}, h('b', {}, line.test), line.asked ? ' (asked)' : '', ': ', line.showed),
            ),
          )
        : null,
    );
  });
  return h(
    'div',
    { class: 'view' },
    makeAsking('check'),
    h(
      'section',
      { class: 'panel' },
      h('h2', {}, 'Nothing flashes, or something else is wrong'),
      makeStrobeCaution(),
      h(
        'p',
        { class: 'soft' },
        'The board tests what it can by itself and asks only what it cannot see. It opens the valve and fires the flash.',
      ),
      h('div', { class: 'row' }, begin, aloneBox),
    ),
    h('section', { class: 'panel' }, h('h2', {}, 'What was found'), result),
  );
}
const ranks = (pairs) =>
  h(
    'ul',
    { class: 'chances wide' },
    pairs
      .filter(([, chance]) => chance >= 0.005)
      .map(([name, chance]) => {
        const bar = h('i');
        bar.style.width = `${chance * 100}%`;
        return h(
          'li',
          {},
          h('span', { class: 'word' }, name.replaceAll('-', ' ')),
          h('span', { class: 'meter' }, bar),
          h('span', { class: 'figure' }, percent(chance)),
        );
      }),
  );

export function makeCalibrate() {
  const count = h('input', { type: 'number', min: 8, max: 500, value: 20 });
  const error = text('0.3 mm', '0.3 mm');
  const begin = makeBegin('Let the drops fall', () =>
    act('calibrate', { count: Number(count.value) || 20, gap_error: error.value }),
  );
  const result = h('div', {});
  on('job_calibrate', () => {
    const job = state.job_calibrate;
    if (!job) return;
    const found = job.result;
    show(
      result,
      h(
        'p',
        {},
        [ended(job), job.state === 'running' ? job.text : '', job.of ? `${job.done} of ${job.of} shots` : '']
          .filter(Boolean)
          .join(' · '),
      ),
      found
        ? h(
            'div',
            { class: 'finding' },
            h(
              'table',
              { class: 'plain' },
              h(
                'thead',
                {},
                h(
                  'tr',
                  {},
                  ['quantity', 'by the rig file', 'with the edges', '95 % interval', 'told by the edges'].map(
                    (name) => h('th', { scope: 'col' }, name),
                  ),
                ),
              ),
              h(
                'tbody',
                {},
                found.rows.map((row) =>
                  h(
                    'tr',
                    {},
                    h('th', { scope: 'row' }, row[0]),
                    row.slice(1).map((cell) => h('td', {}, cell)),
                  ),
                ),
              ),
            ),
            found.texts.map((one) => h('p', { class: 'prewrap' }, one)),
            found.warnings.map((one) => h('p', { class: 'caution' }, h('b', {}, 'Caution: '), one)),
            found.effects.length
              ? h(
                  'table',
                  { class: 'plain' },
                  h('caption', { class: 'soft small' }, 'What it does to the plan (90 % intervals, ms)'),
                  h(
                    'thead',
                    {},
                    h(
                      'tr',
                      {},
                      ['time', 'before', 'after'].map((name) => h('th', { scope: 'col' }, name)),
                    ),
                  ),
                  h(
                    'tbody',
                    {},
                    found.effects.map((one) =>
                      h(
                        'tr',
                        {},
                        h('th', { scope: 'row' }, one.name),
                        h('td', {}, `${number(one.before[0], 1)} to ${number(one.before[2], 1)}`),
                        h('td', {}, `${number(one.after[0], 1)} to ${number(one.after[2], 1)}`),
                      ),
                    ),
                  ),
                )
              : null,
            h('p', { class: 'soft' }, found.kept ? `Kept for the next plan in ${found.kept}.` : 'Not kept.'),
          )
        : null,
    );
  });
  return h(
    'div',
    { class: 'view' },
    h(
      'section',
      { class: 'panel' },
      h('h2', {}, 'What the beam’s edges say of the rig'),
      h(
        'p',
        { class: 'soft' },
        'Drops fall, without a flash; latency, distance, speed and drop diameter come out with their errors, and the planner uses them. Two beams, or the beam at two heights, tell latency and distance apart; one beam cannot.',
      ),
      h(
        'div',
        { class: 'fields' },
        field('Shots of two drops', count),
        field('How well the beams’ distance is known', error),
      ),
      h('div', { class: 'row' }, begin),
    ),
    h('section', { class: 'panel' }, h('h2', {}, 'What came of it'), result),
  );
}
