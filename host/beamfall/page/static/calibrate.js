// Calibrate: measures the rig with its beams.
import { caution, h, joined, number, show, table, tableRow } from './dom.js';
import { ended, field, makeBegin, text } from './forms.js';
import { act, on, state } from './net.js';

export function makeCalibrate() {
  const count = h('input', { type: 'number', min: 8, value: 20 });
  const error = text('0.3 mm', '0.3 mm');
  const begin = makeBegin(
    'Start measuring',
    () => act('calibrate', { count: Number(count.value) || 20, gap_error: error.value }),
    { 'gap error': error },
  );
  const body = h('div');
  const result = h('section.panel', { hidden: true }, h('h2', 'Result'), body);
  on('job_calibrate', () => {
    const job = state.job_calibrate;
    if (!job) return;
    const found = job.result;
    result.hidden = false;
    show(
      body,
      h(
        'p',
        joined(
          ended(job),
          job.state === 'running' ? job.text : '',
          job.of ? `${job.done} of ${job.of} shots` : '',
        ),
      ),
      found
        ? h(
            'div.finding',
            table(
              ['quantity', 'rig file', 'calibrated', '95 % interval', 'measured by the beam'],
              found.rows.map((row) =>
                h(
                  'tr',
                  h('th', { scope: 'row' }, row[0]),
                  row.slice(1).map((cell) => h('td', cell)),
                ),
              ),
            ),
            found.texts.map((one) => h('p.prewrap', one)),
            found.warnings.map((one) => caution(one)),
            found.effects.length
              ? table(
                  ['time', 'before', 'after'],
                  found.effects.map((one) =>
                    tableRow(
                      one.name,
                      `${number(one.before[0], 1)} to ${number(one.before[2], 1)}`,
                      `${number(one.after[0], 1)} to ${number(one.after[2], 1)}`,
                    ),
                  ),
                  'Effect on the plan (90 % intervals, ms)',
                )
              : null,
            h(
              'p.soft',
              found.kept
                ? `Plans now use this. It is saved in ${found.kept}; to undo it, open the Rig view.`
                : 'Nothing was saved: plans are unchanged.',
            ),
          )
        : null,
    );
  });
  return h(
    'div.view',
    result,
    h(
      'section.panel',
      h('h2', 'Measure the rig with its beams'),
      h(
        'p.soft',
        'Drops fall at once, without Arm and without a flash. From their beam edges Beamfall measures latency, ' +
          'distance, speed and drop diameter, and plans then use the results. To separate latency from ' +
          'distance, use two beams, or one beam at two heights.',
      ),
      h('div.fields', field('Shots, two drops each', count), field('Error in the beam distance', error)),
      h('div.row', begin),
    ),
  );
}
