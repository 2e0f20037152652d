// Reviewing one clip: the frames round release come once, stepping then needs no server.
import { drawArm, drawSpread, nearest } from "./arm.js";
import { onCanvas, readFrames } from "./frames.js";
import { get, newId, post, say, speaking, typing } from "./talk.js";

const root = document.getElementById("review");
const clip = JSON.parse(root.dataset.clip);
const canvas = document.getElementById("frame");
const pen = canvas.getContext("2d");
const where = document.getElementById("where");
const frames = new Map();
const state = { at: null, first: 0, last: 0, scale: 1, zoom: false, drawing: true, playing: null, drag: null, chosen: null };
const arm = { frames: {}, spread: null };
const SLOW_MS = 120;
const GRAB_PX = 28; // of the canvas
const ASK_EVERY_MS = 1500;
const NAMES = ["shoulder", "elbow", "wrist", "index_mcp", "middle_mcp", "ring_mcp", "little_mcp", "ball"];

if (clip.pictureFrame !== null) arm.frames[clip.pictureFrame] = { points: clip.points, palm: null, angles: {} };
const here = () => arm.frames[state.at];

async function loadFrames() {
  const around = clip.release === null ? "" : `?around=${clip.release}`;
  const answer = await fetch(`/clip/${clip.sha256}/frames${around}`);
  if (!answer.ok) { where.textContent = `The frames cannot be read: ${await answer.text()}`; return; }
  const about = JSON.parse(answer.headers.get("X-Frames"));
  Object.assign(state, { first: about.first, last: about.last, scale: about.scale, count: about.frames });
  const asked = Number(new URLSearchParams(location.search).get("at") ?? NaN);
  const begin = Number.isNaN(asked) ? clip.pictureFrame ?? about.first : asked;
  state.at = Math.min(Math.max(begin, about.first), about.last);
  loadPicture();
  await readFrames(answer, keep);
  root.dataset.loaded = String(frames.size);
  show();
}

// The picture of release is kept by itself, and is there before the frames that come one after the other.
async function loadPicture() {
  if (clip.pictureFrame === null) return;
  const answer = await fetch(`/clip/${clip.sha256}/release.jpg?m=${clip.measurement.slice(0, 12)}`);
  if (!answer.ok) return;
  const whole = await createImageBitmap(await answer.blob());
  const [w, h] = [whole.width, whole.height].map((n) => Math.round(n * state.scale));
  const picture = await createImageBitmap(whole, { resizeWidth: w, resizeHeight: h });
  if (!frames.has(clip.pictureFrame)) keep(clip.pictureFrame, picture);
}

function keep(index, picture) {
  frames.set(index, picture);
  if (canvas.width !== picture.width) { canvas.width = picture.width; canvas.height = picture.height; show(); }
  if (index === state.at) show();
}

async function loadArm() {
  const drawn = await get(`/clip/${clip.sha256}/arm`);
  if (!drawn.frames) return;
  Object.assign(arm, drawn);
  root.dataset.arm = String(Object.keys(arm.frames).length);
  show();
}

function shownPart() {
  // the part of the picture that is shown, in shown-picture pixels
  const points = (here() || arm.frames[clip.pictureFrame])?.points;
  const hand = points?.middle_mcp;
  if (!state.zoom || !hand) return [0, 0, canvas.width, canvas.height];
  const w = canvas.width / 4;
  const h = canvas.height / 4;
  const x = Math.min(Math.max(hand[0] * state.scale - w / 2, 0), canvas.width - w);
  const y = Math.min(Math.max(hand[1] * state.scale - h / 2, 0), canvas.height - h);
  return [x, y, w, h];
}

function to([x, y]) {
  const [left, top, w] = state.part;
  const k = canvas.width / w;
  return [(x * state.scale - left) * k, (y * state.scale - top) * k];
}

function from(x, y) {
  const [left, top, w] = state.part;
  const k = canvas.width / w;
  return [(x / k + left) / state.scale, (y / k + top) / state.scale];
}

function show() {
  const picture = frames.get(state.at);
  if (!state.drag) state.part = shownPart();
  if (picture) pen.drawImage(picture, ...state.part, 0, 0, canvas.width, canvas.height);
  else pen.clearRect(0, 0, canvas.width, canvas.height); // never another frame under this one's arm
  const fitted = here();
  if (picture && state.drawing && fitted) {
    if (state.at === arm.spread?.frame) drawSpread(pen, arm.spread, to);
    drawArm(pen, fitted.points, to, { palm: fitted.palm, chosen: state.chosen });
  }
  for (const row of document.querySelectorAll("#angles tr[data-figure]")) {
    const value = fitted?.angles[row.dataset.figure];
    row.querySelector(".here").textContent = value === undefined ? "—" : `${value.toFixed(0).replace("-", "−")}°`;
  }
  const apart = clip.release === null ? "" : `, ${signed(state.at - clip.release)} frames from release`;
  const chosen = state.chosen ? `; ${state.chosen.replace("_mcp", " knuckle")} chosen` : "";
  where.textContent = `Frame ${state.at} of ${state.count ?? "…"}${apart}${picture ? "" : " (still loading)"}${chosen}`;
  root.dataset.at = state.at;
  if (picture) root.dataset.firstMs ??= performance.now().toFixed(0);
}

const signed = (n) => (n >= 0 ? "+" : "−") + Math.abs(n).toFixed(1);

function step(by) {
  if (state.at === null) return;
  state.at = Math.min(Math.max(state.at + by, state.first), state.last);
  show();
}

function play() {
  const button = root.querySelector("[data-do=play]");
  button.setAttribute("aria-pressed", String(!state.playing));
  if (state.playing) { clearInterval(state.playing); state.playing = null; return; }
  state.playing = setInterval(() => { if (state.at >= state.last) play(); else step(1); }, SLOW_MS);
}

const showAnew = () => location.replace(`${location.pathname}?at=${state.at}`);

async function answerComes() {
  // a decision that changes the answer: wait for the new one, then show it
  say("Kept. Measuring again…");
  for (let i = 0; i < 1200; i += 1) {
    const now = await get(`/clip/${clip.sha256}/state`);
    if (!now.waiting) { showAnew(); return; }
    await new Promise((r) => setTimeout(r, 50));
  }
  say("Still measuring; load the page again in a while.");
}

async function verdict(accepted, why = "") {
  await post(`/clip/${clip.sha256}/verdict`, { fact: newId(), accepted, why });
  location.reload();
}

const dialog = document.getElementById("why-rejected");
dialog.addEventListener("close", () => {
  if (dialog.returnValue === "reject") verdict(false, new FormData(dialog.querySelector("form")).get("why"));
});

async function undo() {
  const last = clip.facts[clip.facts.length - 1];
  if (!last) { say("There is nothing to undo."); return; }
  await post(`/fact/${last.fact}/undo`, { fact: newId() });
  if (last.kind === "release set" || last.kind === "landmark pinned") await answerComes(); else location.reload();
}

async function pin(point) {
  const [x_px, y_px] = here().points[point];
  await post(`/clip/${clip.sha256}/landmark`, { fact: newId(), frame_index: state.at, point, x_px, y_px });
  await answerComes();
}

const go = (other) => { if (other) location.assign(`/s/${root.dataset.session}/review/${other}`); };
const toggle = (name) => {
  state[name] = !state[name];
  root.querySelector(`[data-do=${name}]`).setAttribute("aria-pressed", String(state[name]));
  show();
};

const actions = {
  back: () => step(-1), on: () => step(1), back10: () => step(-10), on10: () => step(10),
  release: () => { if (clip.release !== null) { state.at = clip.pictureFrame ?? Math.round(clip.release); step(0); } },
  play, zoom: () => toggle("zoom"), drawing: () => toggle("drawing"),
  set: async () => {
    if (state.at === null) return;
    await post(`/clip/${clip.sha256}/release`, { fact: newId(), frame_index: state.at });
    await answerComes();
  },
  accept: () => verdict(true), reject: () => dialog.showModal(), undo,
  before: () => go(root.dataset.before), after: () => go(root.dataset.after),
  choose: () => {
    if (!here()) { say("No arm was fitted in this frame."); return; }
    state.chosen = NAMES[(NAMES.indexOf(state.chosen) + 1) % NAMES.length];
    show();
  },
};
const KEYS = { ArrowLeft: "back", ArrowRight: "on", "shift ArrowLeft": "back10", "shift ArrowRight": "on10", r: "release", " ": "play", z: "zoom", d: "drawing", s: "set", a: "accept", x: "reject", u: "undo", p: "before", n: "after", t: "choose" };
const NUDGE = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

document.addEventListener("keydown", (event) => {
  if (dialog.open) return;
  const by = NUDGE[event.key];
  if (event.altKey && by && state.chosen && here()) {
    const place = here().points[state.chosen];
    here().points[state.chosen] = [place[0] + by[0], place[1] + by[1]];
    event.preventDefault();
    show();
    return;
  }
  if (event.key === "Enter" && state.chosen && here() && event.target.tagName !== "BUTTON") { pin(state.chosen); return; }
  const plain = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const name = KEYS[(event.shiftKey && by ? "shift " : "") + plain];
  if (!name || typing(event) || (event.key === " " && event.target.tagName === "BUTTON")) return;
  event.preventDefault();
  actions[name]();
});
root.addEventListener("click", (event) => {
  const button = event.target.closest("[data-do]");
  if (button) actions[button.dataset.do]();
});

canvas.addEventListener("pointerdown", (event) => {
  if (!here() || !state.drawing || !frames.has(state.at)) return;
  state.drag = nearest(here().points, to, ...onCanvas(canvas, event), GRAB_PX);
  if (state.drag) canvas.setPointerCapture(event.pointerId);
});
canvas.addEventListener("pointermove", (event) => {
  if (!state.drag) return;
  here().points[state.drag] = from(...onCanvas(canvas, event));
  show();
});
canvas.addEventListener("pointerup", async () => {
  if (!state.drag) return;
  const point = state.drag;
  state.drag = null;
  await pin(point);
});

// What others decide of this clip is shown here too, once nothing is half done.
const busy = () => state.drag || state.chosen || state.playing || dialog.open;
const asShown = JSON.stringify([clip.measurement, clip.facts.map((f) => f.fact)]);
setInterval(async () => {
  try {
    const now = await get(`/clip/${clip.sha256}/state`);
    if (!now.waiting && !busy() && !speaking() && JSON.stringify([now.measurement, now.facts]) !== asShown) showAnew();
  } catch { /* asked again in a moment */ }
}, ASK_EVERY_MS);

loadFrames();
loadArm();
