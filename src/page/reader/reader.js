const byId = name => document.getElementById(name);
const said = byId('said'), results = byId('results'), contents = byId('contents');
// A receiver whose memory has grown to this is put away: memory of this kind never shrinks.
const MOST_MEMORY = 256 * 2 ** 20;

const module = unpacked(byId('module').textContent);
const workerAddress = URL.createObjectURL(new Blob([byId('worker').textContent], { type: 'text/javascript' }));
const waiting = [];
let worker = null, started = null, reading = null, count = 0;

function unpacked(text) {
  const packed = Uint8Array.from(atob(text), letter => letter.charCodeAt(0));
  const bytes = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(bytes).arrayBuffer();
}

// One message to the worker, and what it says to it. A worker that ends before has failed.
function told(message, transfer = []) {
  return new Promise(resolve => {
    worker.onmessage = ({ data }) => resolve(data);
    worker.onerror = error => resolve({ failed: error.message });
    worker.stopped = () => resolve({ stopped: true });
    worker.postMessage(message, transfer);
  });
}

function end() {
  if (!worker) return;
  worker.terminate();
  worker.stopped?.();
  worker = started = null;
}

function start() {
  started ??= module.then(async bytes => {
    worker = new Worker(workerAddress);
    const answer = await told({ module: bytes });
    if (!answer.ready) throw new Error(answer.failed ?? 'stopped');
  });
  return started;
}

function status(words, kind = '') {
  said.textContent = words;
  said.className = `status ${kind}`;
}

function busy(name) {
  byId('busy').hidden = byId('stop').hidden = !name;
  results.setAttribute('aria-busy', Boolean(name));
  if (name) status(`Reading ${name}${waiting.length ? `; ${waiting.length} more after it` : ''} …`);
}

async function read({ file, fields }) {
  count += 1;
  const asked = { name: file.name, place: count, changed_s: Math.floor(file.lastModified / 1000), ...fields };
  busy(file.name);
  let answer;
  try {
    await start();
    const capture = await file.arrayBuffer();
    const reply = await told({ asked, capture }, [capture]);
    if (reply.failed || reply.memory > MOST_MEMORY) end();
    answer = reply.answer ?? { error: `${file.name}: ${reply.stopped ? 'stopped' : `this page cannot read it (${reply.failed}); the program may: fieldripple decode`}` };
  } catch (error) {
    end();
    answer = { error: `${file.name}: ${error.message}` };
  }
  show(asked, answer);
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

function take(files) {
  const fields = Object.fromEntries(['rate', 'centre', 'channel', 'raw'].map(name => [name, byId(name).value]));
  waiting.push(...[...files].map(file => ({ file, fields })));
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
