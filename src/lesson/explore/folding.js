const PER = DATA.per_bit, CELLS = DATA.bits * PER, CYCLES = 32 / PER;
at('capture').innerHTML = DATA.captures.map((c, k) => `<option value="${k}">${k ? 'weaker' : 'weak'}: ${fixed(c.ebn0_db, 0)} dB in one telegram</option>`).join('');
const choice = () => DATA.captures[Number(at('capture').value)];
const turned = () => at('turn').getAttribute('aria-pressed') === 'true';

// Telegrams laid on each other, each a few cycles late if their length is counted wrongly.
function folded(capture, count, error, turn) {
  const all = capture.waves.flat(), sum = new Array(CELLS).fill(0);
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

let update = () => {};
const count = slider('count', (n) => `${n}`, () => update());
const error = slider('error', (e) => `${4096 + e} cycles${e ? `, ${Math.abs(e)} too ${e > 0 ? 'many' : 'few'}` : ', as sent'}`, () => update());
update = () => {
  const capture = choice(), n = count.value;
  const traces = steps(folded(capture, n, error.value, turned())), eye = opening(traces);
  const reach = 4;
  const inside = traces.map((trace, bit) => line(`${DATA.signs[bit] === '+' ? 'one' : 'two'} thin`, trace.map((y, k) => [20 + 360 * k / (2 * PER), 140 - 130 * Math.max(-1, Math.min(1, y / reach))]))).join('');
  draw('eye', `Eye after ${n} telegrams: opening ${eye.mean > 0 ? fixed(eye.mean / eye.spread, 1) : '0'} times what the steps stray by`,
    `<line x1="20" y1="140" x2="380" y2="140" class="axis"/>${inside}<line x1="200" y1="10" x2="200" y2="270" class="axis"/>` + words(22, 24, `±${reach} % of the field`, 'remark') + words(380, 272, '±1 bit around the boundary', 'remark end'));
  const own = error.value === 0 && turned(), said = capture.said;
  const y = (odds) => 24 + 236 * Math.min(12, -Math.log10(odds)) / 12;
  const x = (k) => 30 + 340 * k / (said.length - 1);
  let dots = `<line x1="20" y1="${y(1e-5)}" x2="385" y2="${y(1e-5)}" class="ghost"/>` + words(383, y(1e-5) - 6, 'read below: 10⁻⁵', 'remark end') + words(22, 16, '1', 'remark') + words(22, 274, '10⁻¹²', 'remark');
  said.forEach((one, k) => {
    if (k >= n) return;
    dots += one.odds === null ? `<line x1="${x(k) - 5}" y1="24" x2="${x(k) + 5}" y2="24" class="axis"/>` : `<circle cx="${x(k)}" cy="${y(one.odds).toFixed(1)}" r="${k === n - 1 ? 7 : 4}" class="${one.read ? 'first' : 'second'}"/>`;
  });
  const last = said[n - 1];
  draw('odds', `Odds of a wrong number after 1 to ${n} telegrams; now ${last.words || 'no number at all'}`, dots);
  const open = `The eye's opening is ${eye.mean > 0 ? fixed(eye.mean / eye.spread, 1) : '0'} times what its steps stray by${eye.mean > 0 ? `, Eb/N0 ${fixed(eye.db, 1)} dB` : ''}.`;
  if (!own) status('said', 'bad', `${n} telegrams laid on each other wrongly. ${open} The odds beside are the program's, which lays them rightly.`);
  else if (last.read) status('said', 'good', `${n} telegrams. ${open} Read: ${last.id}, wrong with a probability of ${last.words}.`);
  else status('said', '', `${n} telegrams. ${open} Not read: ${last.id ? `${last.id} is the likeliest, but wrong with a probability of ${last.words}` : 'the program sees no number in them'}.`);
};
at('capture').addEventListener('change', () => update());
at('more').addEventListener('click', () => { count.value = Math.min(DATA.telegrams, count.value + 1); update(); });
at('turn').addEventListener('click', () => { at('turn').setAttribute('aria-pressed', String(!turned())); update(); });
update();
