import { drawArm } from "./arm.js";
import { get } from "./talk.js";

const CLOSE = 1.9; // the shown part is this many times as wide as forearm and hand are long
const WIDE = 640;
const HIGH = 560;

function reach(points) {
  const far = ([x, y], [u, v]) => Math.hypot(x - u, y - v);
  return far(points.elbow, points.wrist) + far(points.wrist, points.middle_mcp);
}

async function pictureOf(canvas) {
  canvas.width = WIDE;
  canvas.height = HIGH;
  const picture = new Image();
  picture.src = canvas.dataset.picture;
  await picture.decode();
  return picture;
}

function draw(canvas, picture, { points, palm }) {
  if (!points.elbow || !points.wrist || !points.middle_mcp) return null;
  const k = WIDE / (CLOSE * reach(points));
  // wrist on the same place in both pictures, at one scale
  const to = ([x, y]) => [(x - points.wrist[0]) * k + WIDE / 2, (y - points.wrist[1]) * k + HIGH * 0.55];
  const pen = canvas.getContext("2d");
  const [x, y] = to([0, 0]);
  pen.fillRect(0, 0, WIDE, HIGH);
  pen.drawImage(picture, x, y, picture.naturalWidth * k, picture.naturalHeight * k);
  drawArm(pen, points, to, { palm });
  return { points, to, palm };
}

function layOver(over, drawn) {
  over.width = WIDE;
  over.height = HIGH;
  const pen = over.getContext("2d");
  pen.fillStyle = "#30343c";
  pen.fillRect(0, 0, WIDE, HIGH);
  drawn.forEach((one, i) => { if (one) drawArm(pen, one.points, one.to, { dashed: i === 1, size: 4, palm: one.palm }); });
}

for (const two of document.querySelectorAll(".two")) {
  const over = two.querySelector(".laid-over");
  const canvases = [...two.querySelectorAll("canvas[data-clip]")];
  const pictures = await Promise.all(canvases.map(pictureOf));
  const clips = canvases.map((canvas) => JSON.parse(canvas.dataset.clip));
  const drawn = clips.map((clip, i) => draw(canvases[i], pictures[i], { points: clip.points }));
  layOver(over, drawn);
  for (const [i, clip] of clips.entries()) { // one after the other: the server keeps to the arm asked for last
    const fitted = (await get(`/clip/${clip.sha256}/arm`)).frames?.[clip.pictureFrame];
    if (fitted) drawn[i] = draw(canvases[i], pictures[i], fitted);
  }
  layOver(over, drawn);
  two.dataset.drawn = String(drawn.filter(Boolean).length);
}
