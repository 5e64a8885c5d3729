'use strict';
// Without this script everything is shown at once; with it, one position of the sliders at a time.
document.documentElement.classList.add('js');

for (const box of document.querySelectorAll('.explorer')) {
  const sliders = [...box.querySelectorAll('input[type=range]')];
  const choices = [...box.querySelectorAll('.choice')];
  const show = () => {
    const at = sliders.map((slider) => slider.value).join(',');
    for (const slider of sliders) {
      const stop = slider.dataset.stops.split('|')[slider.value];
      box.querySelector(`output[for="${slider.id}"]`).textContent = stop;
      slider.setAttribute('aria-valuetext', stop);
    }
    for (const choice of choices) choice.classList.toggle('chosen', choice.dataset.at === at);
  };
  for (const slider of sliders) slider.addEventListener('input', show);
  show();
}

for (const box of document.querySelectorAll('.stepper')) {
  const slider = box.querySelector('input[type=range]');
  const output = box.querySelector('output');
  const field = document.createElement('p');
  box.querySelector('.head .controls').append(field);
  const show = () => {
    const bit = Number(slider.value);
    output.textContent = slider.value;
    const holds = (from, to) => Number(from) <= bit && bit <= Number(to);
    for (const item of box.querySelectorAll('[data-bit]')) item.classList.toggle('now', Number(item.dataset.bit) === bit);
    for (const card of box.querySelectorAll('.card')) card.classList.toggle('now', holds(card.dataset.first, card.dataset.last));
    // Control bits lie between the bits of a field and belong to none.
    const control = box.querySelector('.bit.now').classList.contains('control-bit');
    for (const row of box.querySelectorAll('tr[data-from]')) row.classList.toggle('now', !control && holds(row.dataset.from, row.dataset.to));
    // The table of fields is far below: its row stands beside the slider, too.
    const cells = box.querySelector('tr.now')?.cells;
    field.textContent = cells ? `Field: ${cells[1].textContent}, ${cells[2].textContent}` : 'Field: none';
  };
  for (const button of box.querySelectorAll('button[data-move]')) {
    button.addEventListener('click', () => {
      slider.value = Number(slider.value) + Number(button.dataset.move);
      move();
    });
  }
  const move = () => {
    show();
    box.querySelector('.card.now').scrollIntoView({ block: 'nearest' });
  };
  slider.addEventListener('input', move);
  // Whoever comes by keyboard sees at once what the keys will move; under a pointer nothing may jump.
  slider.addEventListener('focus', () => { if (slider.matches(':focus-visible')) move(); });
  show();
}

for (const answer of document.querySelectorAll('.answer')) {
  const button = document.createElement('button');
  button.type = 'button';
  button.className = 'answer-button';
  const what = answer.dataset.what || 'the answer';
  const label = () => {
    const shown = answer.classList.contains('shown');
    button.textContent = shown ? `Hide ${what}` : `Show ${what}`;
    button.setAttribute('aria-expanded', String(shown));
  };
  button.addEventListener('click', () => {
    answer.classList.toggle('shown');
    label();
  });
  label();
  answer.before(button);
}
