// What others say of this session is shown here too: the server is asked whether anything is new.
import { get } from "./talk.js";

const ASK_EVERY_MS = 1500;

export function whenNew(session, show) {
  let seen = null;
  setInterval(async () => {
    try {
      const { turn, clips } = await get(`/s/${session}/progress`);
      const now = JSON.stringify([turn, clips.map((c) => [c.sha256, c.measurement, c.state])]);
      if (seen !== null && seen !== now) show();
      seen = now;
    } catch { /* asked again in a moment */ }
  }, ASK_EVERY_MS);
}
