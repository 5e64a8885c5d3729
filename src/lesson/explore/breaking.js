const WHOLE = [...DATA.bits].map(Number);
let bits = [...WHOLE], other = null;
const PARTS = [['header', 0, 11], ...Array.from({ length: 13 }, (_, k) => [k < 8 ? `code ${k + 1}` : k < 10 ? `CRC ${k - 7}` : `trailer ${k - 9}`, 11 + 9 * k, 20 + 9 * k])];
const isControl = (place) => place > 10 && (place - 11) % 9 === 8;

at('bits').innerHTML = PARTS.map(([name, from, to]) => `<div class="part"><h3>${name}</h3><div class="cells" style="grid-template-columns: repeat(${to - from}, 1fr)">`
  + Array.from({ length: to - from }, (_, k) => `<button type="button" data-bit="${from + k}"></button>`).join('') + '</div></div>').join('');
const buttons = [...document.querySelectorAll('[data-bit]')];

// x^16 + x^12 + x^5 + 1 over code and CRC as sent: 0 is left if nothing is wrong (CRC-16/KERMIT, least significant bit first).
function remainder(all) {
  let register = 0;
  for (let place = 11; place < 101; place++) {
    if (isControl(place)) continue;
    const feedback = (register & 1) ^ all[place];
    register >>= 1;
    if (feedback) register ^= 0x8408;
  }
  return register;
}

// Half a bit late, the halves of neighbouring bits are taken for bits.
function halves(all) {
  const states = [];
  let state = 1;
  for (const bit of all) {
    state = -state;
    states.push(state);
    if (!bit) state = -state;
    states.push(state);
  }
  return states;
}
function shifted(all) {
  const states = halves(all), found = [];
  let equal = 0;
  for (let k = 1; k + 1 < states.length; k += 2) found.push(states[k] === states[k + 1] ? 1 : 0);
  for (let k = 2; k + 1 < states.length; k += 2) if (states[k] === states[k + 1]) equal++;
  return { found: [...found, 0], equal };
}

function update() {
  const level = DATA.levels[slide.value];
  const seen = other === 'shift' ? shifted(WHOLE).found : bits;
  buttons.forEach((button, place) => {
    button.textContent = seen[place];
    const changed = other !== 'shift' && bits[place] !== WHOLE[place];
    button.className = `${isControl(place) ? 'control' : ''} ${changed ? 'changed' : ''}`;
    button.setAttribute('aria-label', `bit ${place}: ${seen[place]}${changed ? ', flipped' : ''}`);
    button.setAttribute('aria-pressed', String(changed));
  });
  const header = seen.slice(0, 11).join('') === '00000000001';
  const controls = seen.filter((bit, place) => isControl(place) && !bit).length;
  const crc = remainder(seen);
  const rows = [
    ['header', header ? 'right: ten 0s and a 1' : 'wrong'],
    ['control bits', controls ? `${controls} of 13 are 0` : 'right: all 1'],
    ['CRC', crc ? `wrong: ${crc.toString(16).toUpperCase().padStart(4, '0')} is left of the division` : 'right: nothing is left of the division'],
  ];
  if (other === 'shift') rows.push(['line code', `neighbouring bits meet with equal halves ${shifted(WHOLE).equal} times: half a bit off`]);
  at('checks').innerHTML = rows.map(([name, value]) => `<tr><th scope="row">${name}</th><td>${value}</td></tr>`).join('');
  const places = bits.map((bit, place) => (bit === WHOLE[place] ? -1 : place)).filter((place) => place >= 0);
  at('command').textContent = '';
  const story = { tag: DATA.tag, reader: DATA.reader }[other];
  if (story) {
    at('command').textContent = story.command;
    status('said', story.numbers.length ? 'good' : 'bad', `${story.numbers.length} numbers. ${story.outcome}`);
  } else if (places.length > 1) {
    status('said', '', `${places.length} bits flipped: the program's decision was worked out for one at a time only. Flip some back to see it.`);
  } else {
    const said = other === 'shift' ? level.shifted : places.length ? level.flips[places[0]] : level.whole;
    if (!said) status('said', 'bad', 'The program finds nothing to decide.');
    else if (said.read) status('said', 'good', `Read: ${said.id}, wrong with a probability of ${said.words}; ${said.contradicted} of 102 steps speak against it.`);
    else status('said', 'bad', `Not read. The likeliest number, ${said.id}, would be wrong with a probability of ${said.words} if only noise were the matter; ${said.contradicted} of 102 steps speak against it${said.fits ? '' : ', more than noise does: it does not fit'}.`);
  }
  for (const id of ['shift', 'tag', 'reader']) at(id).setAttribute('aria-pressed', String(other === id));
}
const slide = slider('level', (stop) => `${fixed(DATA.levels[stop].ebn0_db, 0)} dB`, () => update());
for (const button of buttons) button.addEventListener('click', () => {
  if (other) { other = null; } else bits[Number(button.dataset.bit)] ^= 1;
  update();
});
at('whole').addEventListener('click', () => { bits = [...WHOLE]; other = null; update(); });
for (const id of ['shift', 'tag', 'reader']) at(id).addEventListener('click', () => { other = other === id ? null : id; update(); });
update();
