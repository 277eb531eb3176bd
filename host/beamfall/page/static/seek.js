// Seek: a form to start the search, its answers, and the timings it has found.

import { makeStrobeCaution } from './caution.js';
import { h, ms, percent, show, table } from './dom.js';
import { ended, field, makeAsking, makeBegin, text, tick } from './forms.js';
import { act, on, state } from './net.js';
import { makePicture } from './pictures.js';
import { attempt } from './press.js';

export function makeSeek() {
  const stage = text('2 ms'),
    most = h('input', { type: 'number', min: 1, value: 20 });
  const [fresh, freshBox] = tick('Ignore what was learned before');
  const [alone, aloneBox] = tick('Let the simulated photographer answer');
  const begin = makeBegin(
    'Start',
    () =>
      act('seek', {
        stage: stage.value,
        shots: Number(most.value) || 20,
        fresh: fresh.checked,
        simulated_person: alone.checked,
      }),
    { stage },
  );
  const body = h('div', {});
  const result = h('section', { class: 'panel', hidden: true }, h('h2', {}, 'Answers'), body);
  const use = makeUse();
  on('board', () => {
    aloneBox.hidden = !state.board?.simulated;
  });
  on('job_seek', () => {
    const job = state.job_seek;
    if (!job) return;
    const found = job.result;
    result.hidden = false;
    show(
      body,
      h('p', {}, sayState(job)),
      found ? h('div', { class: 'finding' }, h('p', { class: 'found' }, sayFound(found)), use) : null,
      found?.found ? h('div', { class: 'pic found-pic' }, makePicture(found.shot, { small: false })) : null,
      job.note ? h('p', { class: job.lines.length ? 'field-problem' : 'soft' }, job.note) : null,
      job.lines.length
        ? table(
            ['shot', 'spacing', 'flash delay', 'answer', 'wanted picture?'],
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
          )
        : null,
    );
  });
  return h(
    'div',
    { class: 'view' },
    makeAsking('seek'),
    result,
    h(
      'section',
      { class: 'panel' },
      h('h2', {}, 'Find the picture in a few shots'),
      makeStrobeCaution(),
      h(
        'p',
        { class: 'soft' },
        'Start fires the first shot at once, without Arm. After each shot, say what the picture shows; the next ' +
          'shot then comes closer.',
      ),
      h(
        'div',
        { class: 'fields' },
        field('Picture you want: 2 ms after contact, or umbrella 15 mm wide', stage),
        field('Maximum shots', most),
      ),
      h('div', { class: 'row' }, begin, freshBox, aloneBox),
      h(
        'p',
        { class: 'soft small' },
        'Plans then use what the search learned; the Rig view lists it and can undo it.',
      ),
    ),
  );
}

// What the search is doing is in the strip above; here stands how far it is, or how it ended.
/** @param {Job} job */
function sayState(job) {
  const shots = job.lines.length;
  const asked = job.question ? 'The question above waits for your answer.' : '';
  if (job.state === 'running') return asked || 'Running.';
  return [ended(job), job.result ? '' : `${shots} ${shots === 1 ? 'answer' : 'answers'}`]
    .filter(Boolean)
    .join(' · ');
}

/** @param {Sought} found */
function sayFound(found) {
  const shots = `${found.shots} ${found.shots === 1 ? 'shot' : 'shots'}`;
  if (found.found) {
    const after = found.by_beam ? `drop ${found.drops} crosses the beam` : 'the first opening';
    return (
      `Found in ${shots}: shot ${found.shot} has the picture, with ` +
      (found.spacing_ms === null ? '' : `spacing ${ms(found.spacing_ms)} and `) +
      `the flash ${ms(found.delay_ms)} after ${after}.`
    );
  }
  return (
    `Not found in ${shots}. ` +
    (found.learned
      ? 'Start again to continue with what was learned.'
      : 'No picture gave information, so nothing was saved. Find out why under Check.')
  );
}

/** The button that takes what was found, and a word that it did. */
function makeUse() {
  const button = h(
    'button',
    { type: 'button', on: { click: () => attempt(act('use_found')) } },
    'Use these timings',
  );
  const used = h('p', { role: 'status' });
  on(['plan', 'job_seek'], () => {
    const source = state.job_seek?.result?.source;
    const is = Boolean(source) && state.plan?.tuned === source;
    button.hidden = is;
    show(
      used,
      is ? ['✓ The Bench uses these timings. ', h('a', { href: '#bench' }, 'Go to the Bench')] : null,
    );
  });
  return h('div', {}, button, used);
}
