// Talking with the server: every decision has an id made here, so that sending it twice writes it once.

export function newId() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
}

let hide;
export function say(text) {
  const place = document.getElementById("said");
  place.textContent = text;
  clearTimeout(hide);
  hide = setTimeout(() => { place.textContent = ""; }, 5000);
}

// Whether a word of one's own is on its way, or its page is being loaded anew: what others say waits until then.
let open = 0;
let leaving = false;
addEventListener("beforeunload", () => { leaving = true; });
addEventListener("pageshow", () => { leaving = false; });
export const speaking = () => open > 0 || leaving;

export async function post(address, body) {
  open += 1;
  try { return await sent(address, body); } finally { open -= 1; }
}

async function sent(address, body) {
  const answer = await fetch(address, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  });
  if (!answer.ok) {
    const text = await answer.text();
    say(answer.status === 401 ? "You are logged out: load the page again." : `Not done: ${text.slice(0, 300)}`);
    throw new Error(text);
  }
  return answer.json();
}

export const get = async (address) => {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
};

export const typing = (event) => /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName) || event.ctrlKey || event.metaKey || event.altKey;
