// The cage screen shows a new throw as soon as it is measured, and what people say of the throws.
import { whenNew } from "./others.js";

whenNew(document.getElementById("live").dataset, () => location.reload());
