import { fillUnitChoices } from "./units.js";

export function wireMenu(changed) {
  const dialog = document.getElementById("menu-dialog");
  document.getElementById("menu-open").addEventListener("click", () => dialog.showModal());
  fillUnitChoices(document.getElementById("units"), changed);
  for (const input of dialog.querySelectorAll("input[name=theme]")) {
    input.checked = input.value === document.documentElement.dataset.theme;
    input.addEventListener("change", () => {
      localStorage.setItem("theme", input.value);
      document.documentElement.dataset.theme = input.value;
    });
  }
}
