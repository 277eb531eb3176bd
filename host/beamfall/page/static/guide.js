// The guided rig: one question at a time with a drawing, until the answers make a whole rig.

import { form, h, narrow, s, select, show } from './dom.js';
import { act } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeProblem } from './problem.js';

const KEPT = 'beamfall-guide'; // answers survive a reload
/** What was typed for each question: Back shows it again. @type {Map<string, string>} */
const typed = new Map();

/** The button that starts the guide; the guide itself opens below it. */
export function makeGuide() {
  const box = h('div.guide', { hidden: true });
  const open = h('button.begin', { type: 'button', id: 'guide-open' });
  // While it is open the form below is hidden: one thing at a time.
  const root = h('div.guided', open, box);
  const turn = (/** @type {boolean} */ on) => {
    box.hidden = !on;
    root.classList.toggle('open', on);
    show(open, on ? 'Leave the guide' : 'Set up a rig step by step');
  };
  open.addEventListener('click', () => {
    turn(box.hidden === true);
    if (!box.hidden) attempt(step(box, { answers: sessionStorage.getItem(KEPT) ?? '' }));
  });
  box.addEventListener('done', () => turn(false));
  // A link that promises the guide opens it: #rig/guide.
  const follow = () => {
    if (location.hash === '#rig/guide' && box.hidden) open.click();
  };
  addEventListener('hashchange', follow);
  turn(false);
  follow();
  return root;
}

/** @param {HTMLElement} box @param {{ answers?: string, key?: string, text?: string, back?: boolean }} request */
async function step(box, request) {
  if (request.key) typed.set(request.key, request.text ?? '');
  /** @type {GuideStep} */
  let found;
  try {
    found = await act('guide', request);
  } catch (error) {
    sessionStorage.removeItem(KEPT); // answers of another version
    found = await act('guide', {});
    if (!(error instanceof Error)) throw error;
  }
  sessionStorage.setItem(KEPT, found.answers);
  const question = found.question;
  const remarks = found.remarks.map((text) => h('p.soft', text));
  if (!question) {
    showEnd(box, found.answers, remarks);
    return;
  }
  const input = question.options.length
    ? select(question.options, { id: 'guide-answer' })
    : h('input', {
        id: 'guide-answer',
        type: 'text',
        maxlength: 200,
        autocomplete: 'off',
        placeholder: question.suggestion,
      });
  input.value = typed.get(question.key) ?? (question.options.length ? question.suggestion : '');
  // An answer may take a second. Sent twice, its second reply would empty the next question's field.
  const ask = (/** @type {object} */ what) => {
    next.disabled = true;
    attempt(
      step(box, { answers: found.answers, ...what }).finally(() => {
        next.disabled = false;
      }),
    );
  };
  const answer = () => ask({ key: question.key, text: input.value });
  const next = h('button.begin');
  const name = () => show(next, input.value.trim() ? 'Next' : `Use ${question.suggestion}`);
  input.addEventListener('input', name);
  name();
  const problem = makeProblem(input, { take: answer });
  problem.say(found.problem, found.likely);
  input.setAttribute('aria-describedby', `guide-how ${problem.root.id}`);
  const back = () => ask({ back: true });
  show(
    box,
    remarks,
    form(
      answer,
      { class: 'guide-step' },
      draw(found, question.ask),
      h(
        'div.guide-words',
        h('p.soft.small', `Question ${question.number} of ${found.total}`),
        h('label.guide-ask', { for: 'guide-answer' }, question.ask),
        h(
          'p',
          { id: 'guide-how' },
          question.how,
          question.also ? ` You may also answer: ${question.also}.` : '',
        ),
        input,
        problem.root,
        h('div.row', next, makeButton('Back', back, { disabled: question.number === 1 })),
      ),
    ),
  );
  input.focus({ preventScroll: true });
  box.scrollIntoView({ block: narrow.matches ? 'start' : 'nearest' });
}

/** @param {GuideStep} found @param {string} label */
function draw(found, label) {
  const { width, height, shapes } = found.drawing;
  return s(
    'svg',
    {
      viewBox: `0 0 ${width} ${height}`,
      class: shapes.some(([, { class: kind }]) => kind === 'asked') ? 'rig-drawing' : 'rig-drawing unmarked',
      role: 'img',
      'aria-label': `Drawing: ${label}`,
    },
    shapes.map(([tag, attributes, text]) => s(/** @type {'path'} */ (tag), attributes, text)),
  );
}

/** @param {HTMLElement} box @param {string} answers @param {Node[]} remarks */
function showEnd(box, answers, remarks) {
  const take = async () => {
    await act('guide_done', { answers });
    sessionStorage.removeItem(KEPT);
    typed.clear();
    box.dispatchEvent(new Event('done'));
  };
  show(
    box,
    remarks,
    h(
      'p',
      'That is all. Beamfall fills in the form with your answers, plans from them, and saves them as a rig file.',
    ),
    h(
      'div.row',
      makeButton('Save and use this rig', () => take(), { class: 'begin', id: 'guide-take' }),
      makeButton('Back', () => step(box, { answers, back: true })),
    ),
  );
}
