// Doubtful links: one key says what a row belongs to.
import { whenNew } from "./others.js";
import { newId, post, say, typing } from "./talk.js";

const list = document.getElementById("asked");
const at = `/s/${list.dataset.session}/link`;

const body = (button) => {
  const { clip, throw: thrown, flight } = button.dataset;
  return { clip: clip || null, throw: thrown ? Number(thrown) : null, flight: flight || null };
};

async function decide(item, button) {
  const said = button.dataset.say;
  if (said === "extra") {
    const { kind, key } = item.dataset;
    await post(at, { fact: newId(), said, [kind]: key });
  } else if (said === "none") {
    for (const other of item.querySelectorAll("[data-choice]")) {
      await post(at, { fact: newId(), said: "rejected", ...body(other) });
    }
  } else {
    await post(at, { fact: newId(), said: "confirmed", ...body(button) });
  }
  say("Kept.");
  location.reload(); // one word often settles other rows too
}

list.addEventListener("click", (e) => {
  const button = e.target.closest("button");
  if (button) decide(button.closest("li"), button);
});
document.addEventListener("keydown", (e) => {
  if (typing(e)) return;
  const item = document.activeElement.closest("#asked li[data-kind]") || list.querySelector("li[data-kind]");
  if (!item) return;
  const wanted = { 0: "[data-say=none]", e: "[data-say=extra]", E: "[data-say=extra]" }[e.key] || `[data-choice="${CSS.escape(e.key)}"]`;
  const button = item.querySelector(wanted);
  if (button) decide(item, button);
});
document.addEventListener("click", async (e) => {
  const button = e.target.closest("[data-undo]");
  if (!button) return;
  await post(`/fact/${button.dataset.undo}/undo`, { fact: newId() });
  location.reload();
});
list.querySelector("li[data-kind]")?.focus();
whenNew(list.dataset, () => location.reload());
