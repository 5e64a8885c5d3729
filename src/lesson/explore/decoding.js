const PER = DATA.per_bit;
// The telegram shown: the lesson's, or that of another number, which the program's code makes, receives and takes apart.
let shown = DATA, number = '';
let group, marks, digits;
at('part').innerHTML = DATA.groups.map((g, k) => `<option value="${k}">${g.name}, bits ${g.first} to ${g.last}</option>`).join('');
const sign = (mark) => (mark === '-' ? '−' : mark);
const rightHalf = (k) => shown.halves[2 * group.first + k];
const rightBit = (k) => `${group.bits}${group.control ?? ''}`[k];

function part() {
  group = shown.groups[Number(at('part').value)];
  const count = group.last - group.first + 1;
  marks = new Array(2 * count).fill('');
  digits = new Array(count).fill('');
  const most = Math.max(...shown.wave.map(Math.abs));
  let rows = '';
  // Four bits a row: boxes a finger hits on a narrow page, too.
  for (let from = 0; from < count; from += 4) {
    const bits = Math.min(4, count - from), wide = 100 * bits;
    const wave = Array.from({ length: bits * PER + 1 }, (_, k) => {
      const value = shown.wave[Math.min(shown.wave.length - 1, (group.first + from) * PER + k)];
      return [k * wide / bits / PER, 60 - 50 * value / most];
    });
    const grid = Array.from({ length: 2 * bits + 1 }, (_, k) => `<line x1="${50 * k}" y1="0" x2="${50 * k}" y2="120" class="${k % 2 ? 'ghost' : 'grid'}"/>`).join('');
    rows += `<div class="row" style="width: calc(min(100%, var(--row)) * ${bits / 4})"><svg class="plot" viewBox="0 0 ${wide} 120" role="img" aria-label="Waveform of bits ${group.first + from} to ${group.first + from + bits - 1}"><title>Waveform of bits ${group.first + from} to ${group.first + from + bits - 1}</title>${grid}<line x1="0" y1="60" x2="${wide}" y2="60" class="axis"/>${line('one', wave)}</svg>`
      + `<div class="cells" style="grid-template-columns: repeat(${2 * bits}, 1fr)">${Array.from({ length: 2 * bits }, (_, k) => `<button type="button" data-half="${2 * from + k}"></button>`).join('')}</div></div>`;
  }
  at('rows').innerHTML = rows;
  at('digits').innerHTML = `<div class="cells" style="grid-template-columns: repeat(${count}, 1fr)">${digits.map((_, k) => `<button type="button" data-digit="${k}"></button>`).join('')}</div>`;
  at('byte').value = '';
  at('byte').disabled = at('check').disabled = !group.hex;
  for (const button of document.querySelectorAll('[data-half]')) button.addEventListener('click', () => { press(marks, Number(button.dataset.half), '+-', rightHalf, tellHalf); });
  for (const button of document.querySelectorAll('[data-digit]')) button.addEventListener('click', () => { press(digits, Number(button.dataset.digit), '01', rightBit, tellBit); });
  show();
  status('said', '', 'Is the wave up or down in the first half of the first bit?');
}

function press(list, place, two, right, tell) {
  list[place] = list[place] === two[0] ? two[1] : two[0];
  show();
  tell(place, list[place] === right(place));
}

function tellHalf(place, right) {
  const bit = group.first + (place >> 1), half = place % 2 ? 'second' : 'first';
  const up = rightHalf(place) === '+';
  if (!right) return status('said', 'bad', `Look again at the ${half} half of bit ${bit}: the wave is ${up ? 'up' : 'down'} there.`);
  if (marks.every((mark, k) => mark === rightHalf(k))) return status('said', 'good', 'All half bits are right. Now the bits: equal halves 1, different ones 0.');
  const before = place % 2 === 0 && place > 0 && marks[place - 1] ? ` It differs from the half before, as it must: at the beginning of a bit the level always changes.` : '';
  status('said', 'good', `Right: ${sign(marks[place])} in the ${half} half of bit ${bit}.${before}`);
}

function tellBit(place, right) {
  const pair = sign(rightHalf(2 * place)) + sign(rightHalf(2 * place + 1));
  if (!right) return status('said', 'bad', `Bit ${group.first + place} has the halves ${pair}: ${rightBit(place) === '1' ? 'equal, a 1' : 'different, a 0'}.`);
  if (!digits.every((digit, k) => digit === rightBit(k))) return status('said', 'good', `Right: ${pair} is a ${digits[place]}.`);
  status('said', 'good', group.hex ? 'All bits are right. The last one is the control bit. Turn the other eight over, and write the byte.' : 'All bits are right: ten 0s and a 1, the header. Go on to the next part.');
}

function show() {
  const paint = (button, value, right, name) => {
    button.textContent = value ? sign(value) : ' ';
    button.className = value ? (value === right ? 'right' : 'wrong') : '';
    button.setAttribute('aria-label', `${name}: ${value ? `${sign(value)}, ${value === right ? 'right' : 'wrong'}` : 'empty'}`);
  };
  for (const button of document.querySelectorAll('[data-half]')) {
    const place = Number(button.dataset.half);
    paint(button, marks[place], rightHalf(place), `${place % 2 ? 'second' : 'first'} half of bit ${group.first + (place >> 1)}`);
  }
  for (const button of document.querySelectorAll('[data-digit]')) {
    const place = Number(button.dataset.digit);
    paint(button, digits[place], rightBit(place), `bit ${group.first + place}`);
  }
}

at('check').addEventListener('click', () => {
  const text = at('byte').value.trim().toUpperCase(), wanted = parseInt(group.hex, 16);
  const hexadecimal = /^(0X)?[0-9A-F]{1,2}$/.test(text) ? parseInt(text.replace('0X', ''), 16) : NaN;
  const decimal = /^[0-9]{1,3}$/.test(text) ? parseInt(text, 10) : NaN;
  if (hexadecimal === wanted || decimal === wanted) status('said', 'good', `Right: ${group.hex} in hexadecimal, ${wanted} in decimal. ${Number(at('part').value) < 5 && group.name.startsWith('code') ? `It counts ${256 ** (Number(at('part').value) - 1)}s of the national number.` : ''}`);
  else if (Number.isNaN(hexadecimal) && Number.isNaN(decimal)) status('said', 'bad', 'Write two hexadecimal digits, as 2D, or a decimal number up to 255.');
  else status('said', 'bad', 'Not this one. Write the eight bits down from the last to the first, then take four at a time: 0000 is 0, 1111 is F.');
});
at('next').addEventListener('click', () => { at('part').value = (Number(at('part').value) + 1) % shown.groups.length; part(); at('part').focus(); });
at('part').addEventListener('change', part);
at('take').addEventListener('click', () => { number = at('number').value.trim(); update(); });
at('any').addEventListener('click', () => {
  number = `999:${Math.floor(2 ** 38 * Math.random())}`;
  at('number').value = number;
  update();
});
begin = () => { at('other').hidden = !live; };
update = () => {
  const found = number && have({ play: 'telegram', number });
  if (number && found === null) return status('said', '', `The telegram of ${number} is being sent and received.`);
  if (found?.error) return status('said', 'bad', found.error);
  // What was begun stays unless the telegram is another one.
  if (group && shown === (found || DATA)) return;
  shown = found || DATA;
  at('whose').textContent = shown.id;
  part();
};
play();
