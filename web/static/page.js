import { wireForms } from "./deeds.js";

wireForms((form) => {
  if (form.dataset.reloads !== undefined) location.reload();
});
