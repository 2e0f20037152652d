import { whenNew } from "./others.js";
import { newId, post, say } from "./talk.js";

const form = document.getElementById("tags");
if (form) {
  document.getElementById("all").addEventListener("click", () => {
    const boxes = [...form.elements.throw.length ? form.elements.throw : [form.elements.throw]];
    const on = boxes.some((b) => !b.checked);
    for (const box of boxes) box.checked = on;
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const data = new FormData(form);
    const throws = data.getAll("throw").map(Number);
    data.delete("throw");
    const value = Object.fromEntries([...data].filter(([, text]) => text.trim()));
    if (!throws.length || !Object.keys(value).length) { say("Tick throws and write at least one word."); return; }
    await post(`/s/${form.dataset.session}/tag`, { fact: newId(), throws, value });
    location.reload();
  });
  const begun = () => [...new FormData(form).values()].some((text) => text);
  whenNew(form.dataset, () => {
    if (begun()) say("Somebody has changed this session; load the page again to see it.");
    else location.reload();
  });
}
