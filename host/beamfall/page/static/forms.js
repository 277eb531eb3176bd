// What the forms of sweep, seek, check and calibrate share.

import { AGREE, attempt, makeQuestion, ready } from './bar.js';
import { h, show } from './dom.js';
import { on, state } from './net.js';

/** @param {string} label @param {HTMLInputElement | HTMLSelectElement} input */
export const field = (label, input) => {
  input.id ||= `g-${label.replace(/[^a-z]/gi, '')}-${Math.random().toString(36).slice(2, 7)}`;
  return h('div', { class: 'field' }, h('label', { for: input.id }, label), input);
};
/** @param {string} placeholder */
export const text = (placeholder, value = '') =>
  h('input', { type: 'text', placeholder, value, maxlength: 40, autocomplete: 'off' });
/** @param {string} label @returns {[HTMLInputElement, HTMLLabelElement]} */
export const tick = (label, checked = false) => {
  const box = h('input', { type: 'checkbox', checked });
  return [box, h('label', { class: 'tick' }, box, ' ', label)];
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
  const box = h('div', {});
  /** @type {number | null} */
  let shown = null;
  on('job', () => {
    const job = state.job;
    const question = job && job.kind === kind && job.state === 'running' ? job.question : null;
    if ((question?.id ?? null) === shown) return;
    shown = question?.id ?? null;
    show(
      box,
      question
        ? h('section', { class: 'panel asking', 'aria-live': 'polite' }, makeQuestion(question))
        : null,
    );
    if (!question || !box.isConnected) return;
    box.firstElementChild?.scrollIntoView(); // it waits for an answer
    const agree = box.querySelector(`[data-answer="${AGREE}"]`);
    if (agree instanceof HTMLElement && document.activeElement === document.body) agree.focus();
  });
  return box;
}

/** @param {string} label @param {() => Promise<unknown>} f */
export function makeBegin(label, f) {
  const button = h('button', { type: 'button', class: 'begin', on: { click: () => attempt(f()) } }, label);
  on(['job', 'link'], () => {
    button.disabled = !ready();
  });
  return button;
}
