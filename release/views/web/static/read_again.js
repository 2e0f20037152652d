// A blind reading: frames without the arm; one frame is called release, then points are placed in it.
import { drawArm } from "./arm.js";
import { onCanvas, readFrames } from "./frames.js";
import { newId, post, say, typing } from "./talk.js";

const root = document.getElementById("reading");
const clip = JSON.parse(root.dataset.clip);
const canvas = document.getElementById("frame");
const pen = canvas.getContext("2d");
const where = document.getElementById("where");
const buttons = [...root.querySelectorAll("[data-point]")];
const NAMES = buttons.map((button) => button.dataset.point);
const CLOSER = 4;
const frames = new Map();
const points = {};
const state = { at: 0, first: 0, last: 0, scale: 1, release: null, point: null, middle: null };

async function load() {
  const answer = await fetch(`/clip/${clip.sha256}/frames${clip.around === null ? "" : `?around=${clip.around}`}`);
  if (!answer.ok) { where.textContent = `The frames cannot be read: ${await answer.text()}`; return; }
  const about = JSON.parse(answer.headers.get("X-Frames"));
  Object.assign(state, { first: about.first, last: about.last, scale: about.scale, at: about.first });
  await readFrames(answer, (index, picture) => frames.set(index, picture));
  const picture = frames.get(state.first);
  [canvas.width, canvas.height] = [picture.width, picture.height];
  root.dataset.loaded = String(frames.size);
  show();
}

function part() {
  const [w, h] = [canvas.width, canvas.height].map((n) => (state.middle ? n / CLOSER : n));
  const [x, y] = state.middle ?? [w / 2, h / 2];
  return [Math.min(Math.max(x - w / 2, 0), canvas.width - w), Math.min(Math.max(y - h / 2, 0), canvas.height - h), w, h];
}

const zoom = () => canvas.width / part()[2];
const to = ([x, y]) => { const [left, top] = part(); return [(x * state.scale - left) * zoom(), (y * state.scale - top) * zoom()]; };
const shownAt = (x, y) => { const [left, top] = part(); return [x / zoom() + left, y / zoom() + top]; };

function show() {
  pen.drawImage(frames.get(state.at), ...part(), 0, 0, canvas.width, canvas.height);
  if (state.at === state.release) drawArm(pen, points, to, { size: 2, chosen: state.point });
  const called = state.release === null ? "no frame called release yet" : `release called in frame ${state.release}`;
  where.textContent = `Frame ${state.at}, ${called}`;
  for (const button of buttons) {
    const placed = button.dataset.point in points ? " ✓" : "";
    button.disabled = state.release === null;
    button.setAttribute("aria-pressed", String(button.dataset.point === state.point));
    button.textContent = button.dataset.point.replace("_mcp", " knuckle") + placed;
  }
  root.querySelector("[data-do=keep]").disabled = !Object.keys(points).length;
}

function step(by) {
  state.at = Math.min(Math.max(state.at + by, state.first), state.last);
  show();
}

function place(x, y) {
  points[state.point] = shownAt(x, y).map((n) => n / state.scale);
  state.last_placed = state.point;
  state.point = NAMES.find((name) => !(name in points)) ?? null;
  show();
}

const actions = {
  back: () => step(-1), on: () => step(1), back10: () => step(-10), on10: () => step(10),
  here: () => {
    for (const name of NAMES) delete points[name];
    Object.assign(state, { release: state.at, point: NAMES[0] });
    show();
  },
  closer: () => {
    state.middle = state.middle ? null : state.pointer ?? [canvas.width / 2, canvas.height / 2];
    root.querySelector("[data-do=closer]").setAttribute("aria-pressed", String(Boolean(state.middle)));
    show();
  },
  keep: async () => {
    if (!Object.keys(points).length) { say("Place at least one point."); return; }
    const placed = Object.fromEntries(Object.entries(points).map(([name, [x_px, y_px]]) => [name, { x_px, y_px }]));
    await post(`/clip/${clip.sha256}/reading`, { fact: newId(), frame_index: state.release, points: placed });
    location.reload();
  },
};
const KEYS = { ArrowLeft: "back", ArrowRight: "on", "shift ArrowLeft": "back10", "shift ArrowRight": "on10", s: "here", z: "closer", n: "keep" };
const NUDGE = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

document.addEventListener("keydown", (event) => {
  const by = NUDGE[event.key];
  if (event.altKey && by && state.last_placed in points) {
    const [x, y] = points[state.last_placed];
    const size = event.shiftKey ? 20 : 1;
    points[state.last_placed] = [x + size * by[0], y + size * by[1]];
    event.preventDefault();
    show();
    return;
  }
  if (event.key === "Enter" && state.point && state.at === state.release && event.target.tagName !== "BUTTON") {
    place(canvas.width / 2, canvas.height / 2);
    return;
  }
  const plain = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const name = KEYS[(event.shiftKey && by ? "shift " : "") + plain];
  if (!name || typing(event) || !frames.size) return;
  event.preventDefault();
  actions[name]();
});
root.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.dataset.do) actions[button.dataset.do]();
  if (button?.dataset.point) { state.point = button.dataset.point; show(); }
});

canvas.addEventListener("pointermove", (event) => { state.pointer = shownAt(...onCanvas(canvas, event)); });
canvas.addEventListener("pointerdown", (event) => {
  if (state.at !== state.release || !state.point) { say("First call this frame release, then choose a point."); return; }
  place(...onCanvas(canvas, event));
});

load();
