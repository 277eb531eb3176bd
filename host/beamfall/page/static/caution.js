// One line before anything flashes again and again: in sight, and once in a view. A question with cautions of its own brings it along.
import { h } from './dom.js';
import { state, on } from './net.js';

export function makeStrobeCaution() {
  const line = h(
    'p',
    { class: 'caution strobe' },
    h('b', {}, 'Caution: '),
    'flashes repeat and can trigger photosensitive epilepsy. Warn everybody in the room first.',
  );
  on('job', () => {
    line.hidden =
      state.job?.state === 'running' &&
      (state.job.question?.cautions ?? []).some((text) => text.includes('epilepsy'));
  });
  return line;
}
