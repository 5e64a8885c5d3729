const byId = name => document.getElementById(name);
const said = byId('said'), results = byId('results'), contents = byId('contents');
const waiting = [];
let reading = null, count = 0;

function status(words, kind = '') {
  said.textContent = words;
  said.className = `status ${kind}`;
}

function busy(name) {
  byId('busy').hidden = byId('stop').hidden = !name;
  results.setAttribute('aria-busy', Boolean(name));
  if (name) status(`Reading ${name}${waiting.length ? `; ${waiting.length} more after it` : ''} …`);
}

async function read({ file, beside, fields }) {
  count += 1;
  const asked = { name: file.name, place: count, changed_s: Math.floor(file.lastModified / 1000), ...fields };
  if (beside) asked.beside = { name: beside.name, from: file.size };
  busy(file.name);
  let answer;
  try {
    const reply = await answerTo(asked, await bytesOf(file, beside));
    answer = reply.answer ?? { error: `${file.name}: ${reply.stopped ? 'stopped' : `this page cannot read it (${reply.failed}); the program may: fieldripple decode`}` };
  } catch (error) {
    end();
    answer = { error: `${file.name}: ${error.message}` };
  }
  show(asked, answer);
}

// Of a file, and behind it of the one that belongs to it.
async function bytesOf(file, beside) {
  return new Blob(beside ? [file, beside] : [file]).arrayBuffer();
}

function element(name, text) {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  return made;
}

function show(asked, answer) {
  const part = element('div');
  part.className = 'result';
  part.dataset.tookMs = answer.took_ms ?? '';
  if (answer.section) {
    part.innerHTML = answer.section;
  } else {
    const section = element('section');
    section.id = `capture-${asked.place}`;
    section.append(element('h2', asked.name), element('p', answer.error));
    part.append(section);
  }
  if (answer.json) {
    const details = element('details'), line = element('pre', answer.json);
    line.className = 'json';
    details.append(element('summary', 'The same as JSON, schema fieldripple.decode/1'), line);
    part.append(details);
  }
  results.append(part);
  showRecords(part);
  const link = element('a', asked.name), entry = element('li');
  link.href = `#capture-${asked.place}`;
  entry.append(link, `: ${answer.verdict || 'not read'}`);
  contents.querySelector('ol').append(entry);
  contents.hidden = byId('forget').hidden = false;
  if (answer.error) status(answer.error, 'bad');
  else status(`${asked.name}: ${answer.verdict}`, JSON.parse(answer.json).verdict === 'read' ? 'good' : 'bad');
}

// Name of the samples that a SigMF recording's metadata belongs to.
async function samplesOf(meta) {
  const own = meta.name.replace(/\.sigmf-meta$/, '.sigmf-data');
  try {
    return JSON.parse(await meta.text()).global['core:dataset'] ?? own;
  } catch {
    return own;
  }
}

async function take(files) {
  const fields = Object.fromEntries(['rate', 'centre', 'channel', 'raw'].map(name => [name, byId(name).value]));
  const given = [...files], pairs = new Map();
  for (const meta of given.filter(file => file.name.endsWith('.sigmf-meta'))) {
    const name = await samplesOf(meta);
    pairs.set(meta, given.find(file => file.name === name && file !== meta));
  }
  // Samples are read with what describes them, not once more by themselves.
  const described = new Set(pairs.values());
  waiting.push(...given.filter(file => !described.has(file)).map(file => ({ file, beside: pairs.get(file), fields })));
  reading ??= all();
}

async function all() {
  while (waiting.length) await read(waiting.shift());
  reading = null;
  busy('');
}

const place = byId('place');
// Beside the frame a dropped file would replace the page.
for (const name of ['dragover', 'drop']) {
  addEventListener(name, event => event.preventDefault());
}
addEventListener('dragover', () => place.classList.add('over'));
for (const name of ['dragleave', 'drop']) addEventListener(name, () => place.classList.remove('over'));
addEventListener('drop', event => take(event.dataTransfer.files));
byId('files').addEventListener('change', event => {
  take(event.target.files);
  // The same file once more is a change, too.
  event.target.value = '';
});
byId('given').addEventListener('submit', event => event.preventDefault());
byId('stop').addEventListener('click', () => {
  waiting.length = 0;
  end();
});
byId('forget').addEventListener('click', () => {
  results.replaceChildren();
  contents.querySelector('ol').replaceChildren();
  contents.hidden = byId('forget').hidden = true;
  status('All forgotten. Drop captures, or choose them.');
  byId('files').focus();
});

start().then(
  () => reading || status('Ready: drop captures, or choose them.'),
  error => status(`The receiver does not start in this browser: ${error.message}`, 'bad'));
