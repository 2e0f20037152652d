import { post } from "./talk.js";

document.getElementById("new-session").addEventListener("submit", async (event) => {
  event.preventDefault();
  const name = new FormData(event.target).get("name");
  const { session } = await post("/session", { name });
  location.assign(`/s/${session}`);
});
