// Drawing the arm; points are in full-size pixels of the clip, `to` turns them into canvas pixels.

const FINGERS = ["index", "middle", "ring", "little"];

export function drawArm(pen, points, to, { dashed = false, size = 3 } = {}) {
  const line = (a, b, colour) => {
    if (!points[a] || !points[b]) return;
    for (const [ink, width] of [["#141418", size + 3], [colour, size]]) {
      pen.strokeStyle = ink;
      pen.lineWidth = width;
      pen.setLineDash(dashed ? [4 * size, 3 * size] : []);
      pen.beginPath();
      pen.moveTo(...to(points[a]));
      pen.lineTo(...to(points[b]));
      pen.stroke();
    }
    pen.setLineDash([]);
  };
  line("shoulder", "elbow", "#fffaeb");
  line("elbow", "wrist", "#f6a821");
  for (const finger of FINGERS) line("wrist", `${finger}_mcp`, "#fffaeb");
  line("index_mcp", "little_mcp", "#40c4ff");
  for (const place of Object.values(points)) {
    pen.beginPath();
    pen.arc(...to(place), size + 2, 0, 2 * Math.PI);
    pen.fillStyle = "#fffaeb";
    pen.strokeStyle = "#141418";
    pen.lineWidth = 2;
    pen.fill();
    pen.stroke();
  }
}

export function nearest(points, to, x, y, within) {
  let best = null;
  let least = within;
  for (const [name, place] of Object.entries(points)) {
    const [u, v] = to(place);
    const far = Math.hypot(u - x, v - y);
    if (far < least) { best = name; least = far; }
  }
  return best;
}
