// The program's own code, compiled for a browser: it works beside the page, in a worker.
// One whose memory has grown to this is put away: memory of this kind never shrinks.
const MOST_MEMORY = 256 * 2 ** 20;

const module = unpacked(document.getElementById('module').textContent);
const workerAddress = URL.createObjectURL(new Blob([document.getElementById('worker').textContent], { type: 'text/javascript' }));
let worker = null, started = null;

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

// An object asked, with a capture or without → the answer; anything that went wrong is `failed` or `stopped`.
async function answerTo(asked, capture = new ArrayBuffer(0)) {
  await start();
  const reply = await told({ asked, capture }, [capture]);
  if (reply.failed || reply.memory > MOST_MEMORY) end();
  return reply;
}
