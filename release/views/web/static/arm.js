// Drawing the arm; points are in full-size pixels of the clip, `to` turns them into canvas pixels.

const FINGERS = ["index", "middle", "ring", "little"];
const DARK = "#141418";
const LIGHT = "#fffaeb";
const FOREARM = "#f6a821";
const PALM = "#40c4ff";

function line(pen, a, b, colour, size, dashed) {
  for (const [ink, width] of [[DARK, size + 3], [colour, size]]) {
    pen.strokeStyle = ink;
    pen.lineWidth = width;
    pen.setLineDash(dashed ? [4 * size, 3 * size] : []);
    pen.beginPath();
    pen.moveTo(...a);
    pen.lineTo(...b);
    pen.stroke();
  }
  pen.setLineDash([]);
}

function arrow(pen, a, b, colour, size, dashed) {
  line(pen, a, b, colour, size, dashed);
  const along = Math.atan2(b[1] - a[1], b[0] - a[0]);
  for (const turn of [2.6, -2.6]) line(pen, b, [b[0] + 4 * size * Math.cos(along + turn), b[1] + 4 * size * Math.sin(along + turn)], colour, size);
}

export function drawArm(pen, points, to, { dashed = false, size = 3, palm = null, chosen = null } = {}) {
  const joined = (a, b, colour) => { if (points[a] && points[b]) line(pen, to(points[a]), to(points[b]), colour, size, dashed); };
  joined("shoulder", "elbow", LIGHT);
  joined("elbow", "wrist", FOREARM);
  for (const finger of FINGERS) joined("wrist", `${finger}_mcp`, LIGHT);
  joined("index_mcp", "little_mcp", LIGHT);
  if (palm) arrow(pen, to(palm[0]), to(palm[1]), PALM, size, dashed);
  for (const [name, place] of Object.entries(points)) {
    pen.beginPath();
    pen.arc(...to(place), size + (name === chosen ? 6 : 2), 0, 2 * Math.PI);
    pen.fillStyle = name === chosen ? PALM : LIGHT;
    pen.strokeStyle = DARK;
    pen.lineWidth = 2;
    pen.fill();
    pen.stroke();
  }
}

// How far forearm and palm may lie off, as faint lines drawn from the fit's own uncertainty.
export function drawSpread(pen, spread, to) {
  pen.globalAlpha = 0.35;
  pen.lineWidth = 1.5;
  for (const [lines, colour] of [[spread.forearm, FOREARM], [spread.palm, PALM]]) {
    pen.strokeStyle = colour;
    for (const [a, b] of lines) {
      pen.beginPath();
      pen.moveTo(...to(a));
      pen.lineTo(...to(b));
      pen.stroke();
    }
  }
  pen.globalAlpha = 1;
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
