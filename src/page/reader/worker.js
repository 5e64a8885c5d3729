// The receiver, beside the page, so that the page does not stand still while it reads.
let receiver;

function given(room, bytes) {
  const at = room(bytes.length);
  if (at === 0) throw new RangeError('no room for so large a file');
  new Uint8Array(receiver.memory.buffer, at, bytes.length).set(bytes);
}

onmessage = async ({ data }) => {
  try {
    if (data.module) {
      // It imports nothing: it can compute, and reach nothing but its own memory.
      receiver = (await WebAssembly.instantiate(data.module, {})).instance.exports;
      postMessage({ ready: true });
      return;
    }
    const began = performance.now();
    given(receiver.room_for_question, new TextEncoder().encode(JSON.stringify(data.asked)));
    given(receiver.room_for_capture, new Uint8Array(data.capture));
    const length = receiver.answer();
    const text = new Uint8Array(receiver.memory.buffer, receiver.answer_at(), length);
    const answer = JSON.parse(new TextDecoder().decode(text));
    answer.took_ms = performance.now() - began;
    postMessage({ answer, memory: receiver.memory.buffer.byteLength });
  } catch (error) {
    postMessage({ failed: String(error) });
  }
};
