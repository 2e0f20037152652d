// Reviewing one clip: the frames round release come once, stepping then needs no server.
import { drawArm, nearest } from "./arm.js";
import { get, newId, post, say, typing } from "./talk.js";

const root = document.getElementById("review");
const clip = JSON.parse(root.dataset.clip);
const canvas = document.getElementById("frame");
const pen = canvas.getContext("2d");
const where = document.getElementById("where");
const frames = new Map();
const state = { at: null, first: 0, last: 0, scale: 1, zoom: false, drawing: true, playing: null, drag: null };
const points = clip.points;
const SLOW_MS = 120;

async function load() {
  const around = clip.release === null ? "" : `?around=${clip.release}`;
  const answer = await fetch(`/clip/${clip.sha256}/frames${around}`);
  if (!answer.ok) { where.textContent = `The frames cannot be read: ${await answer.text()}`; return; }
  const about = JSON.parse(answer.headers.get("X-Frames"));
  Object.assign(state, { first: about.first, last: about.last, scale: about.scale, count: about.frames });
  state.at = Math.min(Math.max(Math.round(clip.release ?? about.first), about.first), about.last);
  const reader = answer.body.getReader();
  let left = new Uint8Array(0);
  for (;;) {
    const { value, done } = await reader.read();
    if (done) break;
    const joined = new Uint8Array(left.length + value.length);
    joined.set(left);
    joined.set(value, left.length);
    left = await takeRecords(joined);
  }
  root.dataset.loaded = String(frames.size);
}

async function takeRecords(bytes) {
  let from = 0;
  const view = new DataView(bytes.buffer);
  while (bytes.length - from >= 8) {
    const index = view.getUint32(from, true);
    const length = view.getUint32(from + 4, true);
    if (bytes.length - from - 8 < length) break;
    const picture = await createImageBitmap(new Blob([bytes.slice(from + 8, from + 8 + length)], { type: "image/jpeg" }));
    frames.set(index, picture);
    if (canvas.width !== picture.width) { canvas.width = picture.width; canvas.height = picture.height; }
    if (index === state.at || frames.size === 1) show();
    from += 8 + length;
  }
  return bytes.slice(from);
}

function window_() {
  // the part of the picture that is shown, in shown-picture pixels
  const hand = points.middle_mcp || points.wrist;
  if (!state.zoom || !hand) return [0, 0, canvas.width, canvas.height];
  const w = canvas.width / 3;
  const h = canvas.height / 3;
  const x = Math.min(Math.max(hand[0] * state.scale - w / 2, 0), canvas.width - w);
  const y = Math.min(Math.max(hand[1] * state.scale - h / 2, 0), canvas.height - h);
  return [x, y, w, h];
}

function to([x, y]) {
  const [left, top, w] = window_();
  const k = canvas.width / w;
  return [(x * state.scale - left) * k, (y * state.scale - top) * k];
}

function from(x, y) {
  const [left, top, w] = window_();
  const k = canvas.width / w;
  return [(x / k + left) / state.scale, (y / k + top) / state.scale];
}

function show() {
  const began = performance.now();
  const picture = frames.get(state.at) || [...frames.values()].pop();
  if (!picture) return;
  pen.drawImage(picture, ...window_(), 0, 0, canvas.width, canvas.height);
  if (state.drawing && state.at === clip.pictureFrame) drawArm(pen, points, to);
  const apart = clip.release === null ? "" : `, ${signed(state.at - clip.release)} frames from release`;
  where.textContent = `Frame ${state.at} of ${state.count ?? "…"}${apart}${frames.has(state.at) ? "" : " (still loading)"}`;
  root.dataset.at = state.at;
  root.dataset.stepMs = (performance.now() - began).toFixed(2);
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

async function answerComes() {
  // a decision that changes the answer: wait for the new one, then show it
  say("Kept. Measuring again…");
  const before = clip.measurement;
  for (let i = 0; i < 240; i += 1) {
    await new Promise((r) => setTimeout(r, 250));
    const now = await get(`/clip/${clip.sha256}/state`);
    if (!now.waiting && (now.measurement !== before || i > 3)) { location.reload(); return; }
  }
  say("Still measuring; load the page again in a while.");
}

async function verdict(accepted) {
  const why = accepted ? "" : prompt("Why is this clip rejected? (may stay empty)");
  if (why === null) return;
  await post(`/clip/${clip.sha256}/verdict`, { fact: newId(), accepted, why });
  location.reload();
}

async function undo() {
  const last = clip.facts[clip.facts.length - 1];
  if (!last) { say("There is nothing to undo."); return; }
  await post(`/fact/${last.fact}/undo`, { fact: newId() });
  if (last.kind === "release set" || last.kind === "landmark pinned") await answerComes(); else location.reload();
}

const go = (other) => { if (other) location.assign(`/s/${root.dataset.session}/review/${other}`); };
const toggle = (name) => {
  state[name] = !state[name];
  root.querySelector(`[data-do=${name}]`).setAttribute("aria-pressed", String(state[name]));
  show();
};

const actions = {
  back: () => step(-1), on: () => step(1), back10: () => step(-10), on10: () => step(10),
  release: () => { if (clip.release !== null) { state.at = Math.round(clip.release); step(0); } },
  play, zoom: () => toggle("zoom"), drawing: () => toggle("drawing"),
  set: async () => {
    if (state.at === null) return;
    await post(`/clip/${clip.sha256}/release`, { fact: newId(), frame_index: state.at });
    await answerComes();
  },
  accept: () => verdict(true), reject: () => verdict(false), undo,
  before: () => go(root.dataset.before), after: () => go(root.dataset.after),
};
const KEYS = { ArrowLeft: "back", ArrowRight: "on", ArrowDown: "back10", ArrowUp: "on10", r: "release", " ": "play", z: "zoom", d: "drawing", s: "set", a: "accept", x: "reject", u: "undo", p: "before", n: "after" };

document.addEventListener("keydown", (event) => {
  const name = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!name || typing(event) || (event.key === " " && event.target.tagName === "BUTTON")) return;
  event.preventDefault();
  actions[name]();
});
root.addEventListener("click", (event) => {
  const button = event.target.closest("[data-do]");
  if (button) actions[button.dataset.do]();
});

const onCanvas = (event) => {
  const box = canvas.getBoundingClientRect();
  const k = Math.min(box.width / canvas.width, box.height / canvas.height);
  const [padX, padY] = [(box.width - canvas.width * k) / 2, (box.height - canvas.height * k) / 2];
  return [(event.clientX - box.left - padX) / k, (event.clientY - box.top - padY) / k];
};
canvas.addEventListener("pointerdown", (event) => {
  if (state.at !== clip.pictureFrame || !state.drawing) return;
  state.drag = nearest(points, to, ...onCanvas(event), 28);
  if (state.drag) canvas.setPointerCapture(event.pointerId);
});
canvas.addEventListener("pointermove", (event) => {
  if (!state.drag) return;
  points[state.drag] = from(...onCanvas(event));
  show();
});
canvas.addEventListener("pointerup", async () => {
  if (!state.drag) return;
  const [x_px, y_px] = points[state.drag];
  const point = state.drag;
  state.drag = null;
  await post(`/clip/${clip.sha256}/landmark`, { fact: newId(), frame_index: clip.pictureFrame, point, x_px, y_px });
  await answerComes();
});

load();
