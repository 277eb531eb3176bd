// What the forms of sweep, seek, check and calibrate share.

import { AGREE, makeQuestion, ready } from './bar.js';
import { h, makeOptions, sayError, show } from './dom.js';
import { on, Refused, state } from './net.js';
import { makeButton } from './press.js';
import { makeProblem } from './problem.js';

/** What is wrong with each field, beside it. @type {WeakMap<Element, ReturnType<typeof makeProblem>>} */
const problems = new WeakMap();

/** @param {string} label @param {HTMLInputElement | HTMLSelectElement} input */
export const field = (label, input) => {
  input.id ||= `g-${label.replace(/[^a-z]/gi, '')}-${Math.random().toString(36).slice(2, 7)}`;
  const problem = makeProblem(input);
  problems.set(input, problem);
  return h('div.field', h('label', { for: input.id }, label), input, problem.root);
};
/**
 * Say beside a field what is wrong with it, if its value is refused.
 * @param {Element} input
 * @param {Promise<unknown>} asked
 */
export const watchField = (input, asked) => problems.get(input)?.watch(asked);
/** @param {string} placeholder */
export const text = (placeholder, value = '') =>
  h('input', { type: 'text', placeholder, value, maxlength: 40, autocomplete: 'off' });
/** @param {string} label @returns {[HTMLInputElement, HTMLLabelElement]} */
export const tick = (label, checked = false) => {
  const box = h('input', { type: 'checkbox', checked });
  return [box, h('label.tick', box, ' ', label)];
};
/** @param {Job} job */
export const ended = (job) =>
  job.state === 'ended'
    ? ''
    : job.state === 'running'
      ? 'running'
      : job.state === 'aborted'
        ? 'aborted: all outputs are off'
        : `failed: ${job.text}`;

// The question of a job is shown in its view, and rebuilt only for the next question.
/** @param {string} kind */
export function makeAsking(kind) {
  const box = h('div');
  /** @type {number | null} */
  let shown = null,
    asked = false;
  on('job', () => {
    const job = state.job;
    const question = job && job.kind === kind && job.state === 'running' ? job.question : null;
    if (asked && job?.kind === kind && job.state !== 'running') {
      asked = false;
      scrollTo(0, 0); // to what was found
    }
    if ((question?.id ?? null) === shown) return;
    shown = question?.id ?? null;
    asked ||= Boolean(question);
    show(box, question ? h('section.panel.asking', { 'aria-live': 'polite' }, makeQuestion(question)) : null);
    if (!question || !box.isConnected) return;
    box.firstElementChild?.scrollIntoView(); // it waits for an answer
    const agree = box.querySelector(`[data-answer="${AGREE}"]`);
    if (agree instanceof HTMLElement && document.activeElement === document.body) agree.focus();
  });
  return box;
}

/**
 * The button that begins something, and what is wrong with what was typed: beside the field that is to blame.
 * @param {string} label
 * @param {() => Promise<unknown>} f
 * @param {Record<string, HTMLInputElement>} [fields] by the names that the server has for them
 */
export function makeBegin(label, f, fields = {}) {
  const said = h('p.field-problem', { role: 'status', hidden: true });
  const begin = async () => {
    said.hidden = true;
    for (const input of Object.values(fields)) problems.get(input)?.say('');
    try {
      await f();
      scrollTo(0, 0); // to what comes of it
    } catch (error) {
      const beside = error instanceof Refused ? problems.get(fields[error.key]) : null;
      said.hidden = Boolean(beside);
      if (beside) beside.tell(error);
      else said.textContent = sayError(error);
    }
  };
  const button = makeButton(label, begin, { class: 'begin' });
  on(['job', 'link'], () => {
    button.disabled = !ready();
  });
  return h('div', button, said);
}

/**
 * Fill a choice again where its options have changed.
 * @param {HTMLSelectElement} select
 * @param {[string, string][]} options
 * @param {string} value
 */
export function fill(select, options, value) {
  const key = options.map(([name]) => name).join();
  if (select.dataset.key !== key) {
    select.dataset.key = key;
    show(select, makeOptions(options));
  }
  select.value = value;
}
