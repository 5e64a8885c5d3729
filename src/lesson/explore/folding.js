const PER = DATA.per_bit, CELLS = DATA.bits * PER, CYCLES = 32 / PER;
const levels = () => (live ? DATA.live_levels : DATA.levels), most = () => (live ? DATA.live_telegrams : DATA.telegrams);
const asked = (play, telegrams) => ({ play, number: DATA.number, depth: DATA.depth, seed: DATA.seed, ebn0_db: levels()[level.value], telegrams });
const turned = () => at('turn').getAttribute('aria-pressed') === 'true';

// Telegrams laid on each other, each a few cycles late if their length is counted wrongly.
function folded(waves, count, error, turn) {
  const all = waves.flat(), sum = new Array(CELLS).fill(0);
  for (let n = 0; n < count; n++) {
    const sign = turn && n % 2 ? -1 : 1;
    for (let k = 0; k < CELLS; k++) {
      const place = n * CELLS + k + n * error / CYCLES, low = Math.floor(place), share = place - low;
      const value = (index) => all[Math.max(0, Math.min(all.length - 1, index))];
      sum[k] += sign * ((1 - share) * value(low) + share * value(low + 1)) / count;
    }
  }
  return sum.map((value) => value / 1000);
}

// Half the step from the half bit before a moment to the one behind it; across the ends the telegram goes on, inverted if it is sent so.
function steps(wave) {
  const value = (k) => (k < 0 ? -wave[k + CELLS] : k >= CELLS ? -wave[k - CELLS] : wave[k]);
  const half = PER / 2;
  return Array.from({ length: DATA.bits }, (_, bit) => Array.from({ length: 2 * PER + 1 }, (_, k) => {
    let sum = 0;
    for (let j = 0; j < half; j++) sum += value(bit * PER + k - PER + j) - value(bit * PER + k - PER - 1 - j);
    return sum / half / 2;
  }));
}

function opening(traces) {
  const along = traces.map((trace, bit) => trace[PER] * (DATA.signs[bit] === '+' ? 1 : -1));
  const mean = along.reduce((sum, value) => sum + value, 0) / along.length;
  const spread = Math.sqrt(along.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (along.length - 1));
  return { mean, spread, db: mean > 0 ? 10 * Math.log10(mean * mean / spread / spread / 2) : -Infinity };
}

const level = slider('capture', (stop) => `${fixed(levels()[stop], 0)} dB`, () => update());
const count = slider('count', (n) => `${n}`, () => update());
const error = slider('error', (e) => `${4096 + e} cycles${e ? `, ${Math.abs(e)} too ${e > 0 ? 'many' : 'few'}` : ', as sent'}`, () => update());
// In step with what the page can ask for.
begin = () => {
  if (live) level.stops(0, DATA.live_levels.length - 1, 1, DATA.live_levels.indexOf(DATA.levels[level.value]));
  count.stops(1, most(), 1);
  at('keep').hidden = !live;
};

let kept = '';
const REACH = 4;
function drawEye(traces, eye, n) {
  const inside = traces.map((trace, bit) => line(`${DATA.signs[bit] === '+' ? 'one' : 'two'} thin`, trace.map((y, k) => [20 + 360 * k / (2 * PER), 140 - 130 * Math.max(-1, Math.min(1, y / REACH))]))).join('');
  draw('eye', `Eye after ${n} telegrams: opening ${eye.mean > 0 ? fixed(eye.mean / eye.spread, 1) : '0'} times what the steps stray by`,
    `<line x1="20" y1="140" x2="380" y2="140" class="axis"/>${inside}<line x1="200" y1="10" x2="200" y2="270" class="axis"/>` + words(22, 24, `±${REACH} % of the field`, 'remark') + words(380, 272, '±1 bit around the boundary', 'remark end'));
}

function drawOdds(said, n) {
  const y = (odds) => 24 + 236 * Math.min(12, -Math.log10(odds)) / 12;
  const x = (k) => 30 + 340 * k / (most() - 1);
  let dots = `<line x1="20" y1="${y(1e-5)}" x2="385" y2="${y(1e-5)}" class="ghost"/>` + words(383, y(1e-5) - 6, 'read below: 10⁻⁵', 'remark end') + words(22, 16, '1', 'remark') + words(22, 274, '10⁻¹²', 'remark');
  said.forEach((one, k) => {
    if (!one || one.error) return;
    dots += one.odds === null ? `<line x1="${x(k) - 5}" y1="24" x2="${x(k) + 5}" y2="24" class="axis"/>` : `<circle cx="${x(k)}" cy="${y(one.odds).toFixed(1)}" r="${k === n - 1 ? 7 : 4}" class="${one.read ? 'first' : 'second'}"/>`;
  });
  const last = said[n - 1];
  draw('odds', `Odds of a wrong number after 1 to ${n} telegrams; now ${last ? last.words || 'no number at all' : 'being worked out'}`, dots);
}

// What the program decides from steps that were laid on each other wrongly: with its code in the page only.
function decidedWrongly(traces, n) {
  if (!live) return 'The odds beside are the receiver\'s, which lays them rightly.';
  // γ = a²/(2·variance) with the depth as amplitude, n telegrams.
  const noise_var = (100 * DATA.depth) ** 2 / 2 / 10 ** (levels()[level.value] / 10) / n;
  const decision = have({ play: 'decision', steps: traces.map((trace) => Number(trace[PER].toFixed(4))), noise_var });
  if (!decision) return 'What is decided from these steps is being worked out.';
  if (!decision.id) return 'From these steps nothing can be decided. The odds beside are the receiver\'s, which lays them rightly.';
  return `From these steps the program decides ${decision.id}, ${decision.id === DATA.id ? 'the right number' : 'a wrong number'}, at odds of ${decision.words}${decision.fits ? '' : '; they do not fit it as noise lets them'}: ${decision.read ? 'read' : 'not read'}. The odds beside are the receiver's, which lays them rightly.`;
}

update = () => {
  const n = count.value, all = have(asked('folding-waves', most()));
  if (!all) return status('said', '', 'The capture is being made and received.');
  if (all.error) return status('said', 'bad', all.error);
  const traces = steps(folded(all.waves, n, error.value, turned())), eye = opening(traces);
  drawEye(traces, eye, n);
  const said = Array.from({ length: n }, (_, k) => have(asked('folding', k + 1)));
  drawOdds(said, n);
  offer(kept === `${level.value} ${n}` ? have(asked('folding-capture', n)) : undefined);
  const last = said[n - 1];
  const open = `The eye's opening is ${eye.mean > 0 ? fixed(eye.mean / eye.spread, 1) : '0'} times what its steps stray by${eye.mean > 0 ? `, Eb/N0 ${fixed(eye.db, 1)} dB` : ''}.`;
  const some = n === 1 ? '1 telegram' : `${n} telegrams`;
  if (error.value !== 0 || !turned()) status('said', 'bad', `${some}, laid on each other wrongly. ${open} ${decidedWrongly(traces, n)}`);
  else if (!last) status('said', '', `${some}. ${open} The receiver is at work.`);
  else if (last.error) status('said', 'bad', last.error);
  else if (last.read) status('said', 'good', `${some}. ${open} Read: ${last.id}, wrong with a probability of ${last.words}.`);
  else status('said', '', `${some}. ${open} Not read: ${last.id ? `${last.id} is the likeliest, but wrong with a probability of ${last.words}` : 'the receiver sees no number in them'}.`);
};
at('keep').addEventListener('click', () => { kept = `${level.value} ${count.value}`; update(); });
at('more').addEventListener('click', () => { count.value = Math.min(most(), count.value + 1); update(); });
at('turn').addEventListener('click', () => { at('turn').setAttribute('aria-pressed', String(!turned())); update(); });
play();
