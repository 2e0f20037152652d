// Frames of a clip as the server sends them, one after the other: index, length, JPEG.

export async function readFrames(answer, keep) {
  const reader = answer.body.getReader();
  let left = new Uint8Array(0);
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    const joined = new Uint8Array(left.length + value.length);
    joined.set(left);
    joined.set(value, left.length);
    left = await takeRecords(joined, keep);
  }
}

async function takeRecords(bytes, keep) {
  let from = 0;
  const view = new DataView(bytes.buffer);
  while (bytes.length - from >= 8) {
    const index = view.getUint32(from, true);
    const length = view.getUint32(from + 4, true);
    if (bytes.length - from - 8 < length) break;
    const picture = await createImageBitmap(new Blob([bytes.slice(from + 8, from + 8 + length)], { type: "image/jpeg" }));
    keep(index, picture);
    from += 8 + length;
  }
  return bytes.slice(from);
}

// Where a pointer is on a canvas whose picture is fitted into its box.
export function onCanvas(canvas, event) {
  const box = canvas.getBoundingClientRect();
  const k = Math.min(box.width / canvas.width, box.height / canvas.height);
  const [padX, padY] = [(box.width - canvas.width * k) / 2, (box.height - canvas.height * k) / 2];
  return [(event.clientX - box.left - padX) / k, (event.clientY - box.top - padY) / k];
}
