// What others say of this session is shown here too: the server is asked whether the session is still at the
// turn that the page was made at, so that nothing said between making the page and asking is missed.
import { get, speaking } from "./talk.js";

const ASK_EVERY_MS = 1500;

export function whenNew({ session, turn }, show) {
  let shown = turn;
  setInterval(async () => {
    try {
      const now = await get(`/s/${session}/progress`);
      if (speaking()) return;
      if (now.turn !== shown) show();
      shown = now.turn;
    } catch { /* asked again in a moment */ }
  }, ASK_EVERY_MS);
}
