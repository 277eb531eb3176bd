// One line in each view that makes the flash fire repeatedly. It hides while a question shows the same caution.
import { h } from './dom.js';
import { on, state } from './net.js';

export function makeStrobeCaution() {
  const line = h(
    'p.caution.strobe',
    h('b', 'Caution: '),
    'repeated flashes can trigger photosensitive epilepsy. Warn everyone in the room first.',
  );
  on('job', () => {
    line.hidden =
      state.job?.state === 'running' &&
      (state.job.question?.cautions ?? []).some((text) => text.includes('epilepsy'));
  });
  return line;
}
