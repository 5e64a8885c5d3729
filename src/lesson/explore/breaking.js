const WHOLE = [...DATA.bits].map(Number);
let bits = [...WHOLE], seed = DATA.seed;
const levels = () => (live ? DATA.live_levels : DATA.levels);
const pressed = (id) => at(id).getAttribute('aria-pressed') === 'true';
const PARTS = [['header', 0, 11], ...Array.from({ length: 13 }, (_, k) => [k < 8 ? `code ${k + 1}` : k < 10 ? `CRC ${k - 7}` : `trailer ${k - 9}`, 11 + 9 * k, 20 + 9 * k])];
const isControl = (place) => place > 10 && (place - 11) % 9 === 8;

at('bits').innerHTML = PARTS.map(([name, from, to]) => `<div class="part"><h3>${name}</h3><div class="cells" style="grid-template-columns: repeat(${to - from}, 1fr)">`
  + Array.from({ length: to - from }, (_, k) => `<button type="button" data-bit="${from + k}"></button>`).join('') + '</div></div>').join('');
const buttons = [...document.querySelectorAll('[data-bit]')];
const slide = slider('level', (stop) => `${fixed(levels()[stop], 0)} dB`, () => update());
begin = () => {
  if (live) slide.stops(0, DATA.live_levels.length - 1, 1, DATA.live_levels.indexOf(DATA.levels[slide.value]));
  at('noise').hidden = !live;
};

const broken = (some) => have({ play: 'broken', bits: some.join(''), shifted: pressed('shift'), ebn0_db: levels()[slide.value] });
const capture = () => have({
  play: 'capture', bits: bits.join(''), shifted: pressed('shift'), ebn0_db: levels()[slide.value], depth: DATA.depth, seed, tag: pressed('tag') ? DATA.second : '', reader: pressed('reader'),
});

// What was worked out of each flipped bit alone, put together: the CRC's division is linear, so what each leaves adds up.
function together(flipped) {
  const each = flipped.map((place) => broken(WHOLE.map((bit, k) => (k === place ? 1 - bit : bit))));
  if (pressed('shift') || each.some((one) => !one)) return undefined;
  const all = { seen: bits.join(''), header: true, controls_wrong: 0, crc_left: 0, standing: 0 };
  for (const one of each) {
    all.header &&= one.header;
    all.controls_wrong += one.controls_wrong;
    all.crc_left ^= one.crc_left;
  }
  return all;
}

function decision(made) {
  if (!made) return 'nothing to decide';
  const against = `${made.contradicted} of 102 steps speak against it`;
  if (made.read) return `${made.id}, wrong with a probability of ${made.words}; ${against}`;
  return `none. The likeliest, ${made.id}, would be wrong with a probability of ${made.words} if only noise were the matter; ${against}${made.fits ? '' : ', more than noise does: it does not fit'}`;
}

function showChecks(checks) {
  const rows = [
    ['header', checks.header ? 'right: ten 0s and a 1' : 'wrong'],
    ['control bits', checks.controls_wrong ? `${checks.controls_wrong} of 13 are 0` : 'right: all 1'],
    ['CRC', checks.crc_left ? `wrong: ${checks.crc_left.toString(16).toUpperCase().padStart(4, '0')} is left of the division` : 'right: nothing is left of the division'],
  ];
  if (checks.standing) rows.push(['line code', `the level stands still at ${checks.standing} of 128 boundaries, where it must change: half a bit off`]);
  if ('decision' in checks) rows.push(['decision on these steps', decision(checks.decision)]);
  at('checks').innerHTML = rows.map(([name, value]) => `<tr><th scope="row">${name}</th><td>${value}</td></tr>`).join('');
}

update = () => {
  const flipped = bits.flatMap((bit, place) => (bit === WHOLE[place] ? [] : [place]));
  const received = capture(), checks = broken(bits) ?? (live ? undefined : together(flipped));
  const seen = checks ? checks.seen : bits;
  buttons.forEach((button, place) => {
    button.textContent = seen[place];
    const changed = bits[place] !== WHOLE[place];
    button.className = `${isControl(place) ? 'control' : ''} ${changed ? 'changed' : ''}`;
    button.setAttribute('aria-label', `bit ${place}: ${seen[place]}${changed ? ', flipped' : ''}`);
    button.setAttribute('aria-pressed', String(changed));
  });
  if (checks && !checks.error) showChecks(checks);
  offer(received);
  const beside = [pressed('tag') && 'a second transponder', pressed('reader') && 'a second reader'].filter(Boolean).join(' and ');
  const what = `8 telegrams${beside ? ` with ${beside} beside` : ''}`;
  if (received?.error ?? checks?.error) status('said', 'bad', received?.error ?? checks.error);
  else if (received) status('said', received.numbers.length ? 'good' : 'bad', `The receiver, of ${what}: ${received.outcome}`);
  else if (received === null) status('said', '', `${what} are being received.`);
  else if (!beside && checks?.decision) status('said', checks.decision.read ? 'good' : 'bad', `The decision: ${decision(checks.decision)}.`);
  else status('said', '', 'What the receiver says of this was not worked out beforehand: flip one bit at a time, or take the whole telegram.');
};
for (const button of buttons) button.addEventListener('click', () => { bits[Number(button.dataset.bit)] ^= 1; update(); });
const press = (id, to) => at(id).setAttribute('aria-pressed', String(to));
at('whole').addEventListener('click', () => {
  bits = [...WHOLE];
  for (const id of ['shift', 'tag', 'reader']) press(id, false);
  update();
});
at('noise').addEventListener('click', () => { seed += 1; update(); });
for (const id of ['shift', 'tag', 'reader']) at(id).addEventListener('click', () => { press(id, !pressed(id)); update(); });
play();
