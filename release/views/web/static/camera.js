import { onCanvas } from "./frames.js";
import { newId, post } from "./talk.js";

const root = document.getElementById("camera");
if (root) {
  const canvas = document.getElementById("place");
  const pen = canvas.getContext("2d");
  const list = document.getElementById("placed");
  const chooser = document.getElementById("mark");
  const kept = JSON.parse(root.dataset.kept);
  const marks = new Map((kept?.marks ?? []).map((m) => [m.name, [m.x_px, m.y_px]]));
  const numbers = [...root.querySelectorAll("[data-number]")];
  let outline = [];
  document.getElementById("view").value = kept?.view ?? "";
  for (const input of numbers) input.value = kept?.[input.dataset.number] ?? "";
  let picture = null;
  let scale = 1;
  let cross = [0.5, 0.5];

  const show = () => {
    if (!picture) return;
    pen.drawImage(picture, 0, 0);
    for (const line of outline) {
      pen.strokeStyle = "#40c4ff"; pen.lineWidth = 2;
      pen.beginPath();
      line.forEach(([x, y], i) => (i ? pen.lineTo(x * scale, y * scale) : pen.moveTo(x * scale, y * scale)));
      pen.stroke();
    }
    pen.font = "16px sans-serif";
    pen.lineWidth = 3;
    for (const [name, [x, y]] of marks) {
      const [u, v] = [x * scale, y * scale];
      for (const [ink, wide] of [["#000", 5], ["#f6a821", 2]]) {
        pen.strokeStyle = ink; pen.lineWidth = wide;
        pen.beginPath(); pen.moveTo(u - 9, v); pen.lineTo(u + 9, v); pen.moveTo(u, v - 9); pen.lineTo(u, v + 9); pen.stroke();
      }
      pen.strokeStyle = "#000"; pen.lineWidth = 4; pen.strokeText(name, u + 12, v - 6);
      pen.fillStyle = "#fff"; pen.fillText(name, u + 12, v - 6);
    }
    const [u, v] = [cross[0] * canvas.width, cross[1] * canvas.height];
    pen.strokeStyle = "#40c4ff"; pen.lineWidth = 2;
    pen.strokeRect(u - 10, v - 10, 20, 20);
    list.replaceChildren(...[...marks].map(([name, [x, y]]) => {
      const item = document.createElement("li");
      item.textContent = `${name}: ${x.toFixed(1)}, ${y.toFixed(1)} px `;
      const away = document.createElement("button");
      away.className = "quiet"; away.textContent = "Remove";
      away.addEventListener("click", () => { marks.delete(name); show(); });
      item.append(away);
      return item;
    }));
  };
  const put = () => {
    marks.set(chooser.value, [(cross[0] * canvas.width) / scale, (cross[1] * canvas.height) / scale]);
    chooser.selectedIndex = Math.min(chooser.selectedIndex + 1, chooser.options.length - 1);
    show();
  };
  canvas.addEventListener("click", (e) => {
    const [x, y] = onCanvas(canvas, e);
    cross = [x / canvas.width, y / canvas.height];
    put();
  });
  canvas.addEventListener("keydown", (e) => {
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    if (by) { cross = [cross[0] + (by[0] * (e.shiftKey ? 20 : 1)) / canvas.width, cross[1] + (by[1] * (e.shiftKey ? 20 : 1)) / canvas.height]; show(); e.preventDefault(); }
    if (e.key === "Enter") { put(); e.preventDefault(); }
  });
  document.getElementById("clear").addEventListener("click", () => { marks.clear(); show(); });
  document.getElementById("keep").addEventListener("click", async () => {
    const body = { fact: newId(), clip: root.dataset.clip, camera: root.dataset.phone, view: document.getElementById("view").value };
    body.marks = [...marks].map(([name, [x_px, y_px]]) => ({ name, x_px, y_px }));
    for (const input of numbers) if (input.value) body[input.dataset.number] = Number(input.value);
    const found = await post(`/s/${root.dataset.session}/camera`, body);
    const told = document.getElementById("told");
    told.textContent = `Kept: ${found.said}.`;
    told.hidden = false;
    outline = found.outline;
    show();
  });

  const answer = await fetch(`/clip/${root.dataset.clip}/frames?around=0&only=1`);
  scale = JSON.parse(answer.headers.get("X-Frames")).scale;
  const bytes = new Uint8Array(await answer.arrayBuffer());
  const length = new DataView(bytes.buffer).getUint32(4, true);
  picture = await createImageBitmap(new Blob([bytes.slice(8, 8 + length)], { type: "image/jpeg" }));
  canvas.width = picture.width;
  canvas.height = picture.height;
  show();
  root.dataset.ready = "yes";
}
