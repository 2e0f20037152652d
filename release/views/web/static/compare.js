import { drawArm } from "./arm.js";

const CLOSE = 1.9; // the shown part is this many times as wide as forearm and hand are long
const two = document.getElementById("two");

function reach(points) {
  const far = ([x, y], [u, v]) => Math.hypot(x - u, y - v);
  return far(points.elbow, points.wrist) + far(points.wrist, points.middle_mcp);
}

async function draw(canvas) {
  const { points } = JSON.parse(canvas.dataset.clip);
  canvas.width = 640;
  canvas.height = 560;
  if (!canvas.dataset.picture || !points.elbow || !points.wrist || !points.middle_mcp) return null;
  const picture = new Image();
  picture.src = canvas.dataset.picture;
  await picture.decode();
  const k = canvas.width / (CLOSE * reach(points));
  // wrist on the same place in both pictures, at one scale
  const to = ([x, y]) => [(x - points.wrist[0]) * k + canvas.width / 2, (y - points.wrist[1]) * k + canvas.height * 0.55];
  const pen = canvas.getContext("2d");
  const [x, y] = to([0, 0]);
  pen.drawImage(picture, x, y, picture.naturalWidth * k, picture.naturalHeight * k);
  drawArm(pen, points, to);
  return { points, to };
}

if (two) {
  const drawn = await Promise.all([...two.querySelectorAll("canvas[data-clip]")].map(draw));
  const over = document.getElementById("laid-over");
  over.width = 640;
  over.height = 560;
  const pen = over.getContext("2d");
  pen.fillStyle = "#30343c";
  pen.fillRect(0, 0, over.width, over.height);
  drawn.forEach((one, i) => { if (one) drawArm(pen, one.points, one.to, { dashed: i === 1, size: 4 }); });
  two.dataset.drawn = String(drawn.filter(Boolean).length);
}
