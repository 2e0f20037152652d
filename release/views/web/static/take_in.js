// Files dropped on the page: two are sent at a time; the server says how far each clip has come.
import { get, say } from "./talk.js";

const SENT_AT_ONCE = 2;
const ASK_EVERY_MS = 1500;
const ASK_WHILE_MEASURING_MS = 500; // so that every step is seen
const AMISS = ["refused", "set aside"];
const ENDED = ["measured", ...AMISS];
const place = document.getElementById("take-in");
const at = `/s/${place.dataset.session}`;
const table = document.getElementById("progress");
const rows = new Map();
const queue = [];
let sending = 0;
let shown = place.dataset.turn; // of the session, as the page was made

function row(key, name) {
  if (!rows.has(key)) {
    const made = table.tBodies[0].insertRow();
    made.insertCell().textContent = name;
    made.insertCell();
    rows.set(key, made);
    table.hidden = false;
  }
  return rows.get(key);
}

function tell(key, name, text, bad) {
  const cell = row(key, name).cells[1];
  cell.textContent = text;
  cell.className = bad ? "why" : "";
}

const isClip = (file) => /^video\//.test(file.type) || /\.(mp4|mov|m4v|mkv|avi)$/i.test(file.name);
const kindOf = (file) => (isClip(file) ? "clip" : /\.toml$/i.test(file.name) ? "plan" : /sheet/i.test(file.name) ? "sheet" : "flight");

function send({ file, kind, key }) {
  return new Promise((done) => {
    const request = new XMLHttpRequest(); // fetch does not tell how much has been sent
    request.open("PUT", `${at}/drop?kind=${kind}`);
    request.setRequestHeader("X-File-Name", encodeURIComponent(file.name));
    request.upload.onprogress = (e) => tell(key, file.name, `uploading, ${Math.round((100 * e.loaded) / e.total)} %`);
    request.onerror = () => { tell(key, file.name, "the connection broke; drop it again", true); done(); };
    request.onload = () => {
      if (request.status === 429) { setTimeout(() => { queue.push({ file, kind, key }); next(); }, 2000); return done(); }
      if (request.status !== 200) { tell(key, file.name, `set aside: ${request.responseText}`, true); return done(); }
      const said = JSON.parse(request.responseText);
      if (said.sha256) { rows.set(said.sha256, rows.get(key)); }
      tell(key, file.name, said.said);
      done();
    };
    request.send(file);
  });
}

async function next() {
  while (sending < SENT_AT_ONCE && queue.length) {
    sending += 1;
    send(queue.shift()).then(() => { sending -= 1; next(); ask().catch(() => {}); });
  }
}

function take(files, kind) {
  for (const file of files) {
    const key = crypto.randomUUID ? crypto.randomUUID() : `${file.name} ${Math.random()}`;
    if (file.size > Number(place.dataset.mostBytes)) { tell(key, file.name, "set aside: too large for a clip of one throw", true); continue; }
    tell(key, file.name, "waiting to be sent");
    queue.push({ file, kind: kind || kindOf(file), key });
  }
  next();
}

async function ask() {
  const said = await get(`${at}/progress`);
  const isOpen = (clip) => !ENDED.includes(clip.state);
  const wall = document.getElementById("wall");
  for (const clip of said.clips) {
    if (rows.has(clip.sha256) || isOpen(clip)) tell(clip.sha256, clip.name, clip.said, AMISS.includes(clip.state));
    if (isOpen(clip)) wall.querySelector(`a[href$="${clip.sha256}"] .nopicture`)?.replaceChildren(clip.said);
  }
  if (said.turn !== shown) {
    const answer = await fetch(`${at}/wall`);
    if (!answer.ok) return false; // asked again in a moment
    const page = await answer.text();
    const focused = wall.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
    wall.replaceChildren(...new DOMParser().parseFromString(page, "text/html").body.childNodes);
    if (focused) wall.querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus();
  }
  shown = said.turn;
  return said.clips.some(isOpen);
}

async function askOn() {
  const open = await ask().catch(() => false); // a broken connection is tried again
  setTimeout(askOn, open ? ASK_WHILE_MEASURING_MS : ASK_EVERY_MS);
}

const drop = document.getElementById("drop");
for (const kind of ["clip", "sheet", "flight", "plan"]) {
  const pick = document.getElementById(`pick-${kind}`);
  const taken = () => { take(pick.files, kind); pick.value = ""; };
  pick.addEventListener("change", taken);
  if (pick.files.length) taken(); // chosen before this was loaded
}
document.addEventListener("dragover", (e) => { e.preventDefault(); drop.classList.add("over"); });
document.addEventListener("dragleave", (e) => { if (!e.relatedTarget) drop.classList.remove("over"); });
document.addEventListener("drop", (e) => {
  e.preventDefault();
  drop.classList.remove("over");
  if (e.dataTransfer.files.length) take(e.dataTransfer.files); else say("Only files can be dropped here.");
});
askOn();
