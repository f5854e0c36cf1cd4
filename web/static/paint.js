// Figures that the server wrote, each in the unit of the record, shown in the unit the reader chose.
import { chosen, fillUnitChoices, groupOf, number, withUnit } from "./units.js";

function shown(value, unit, more) {
  if (unit === "K") return `${number(value, "difference")} ${chosen("temperature") === "°F" ? "°F" : "K"}`;
  return withUnit(value, groupOf(unit), more);
}

export function paint() {
  for (const figure of document.querySelectorAll("data[data-unit]")) {
    figure.textContent = (figure.dataset.sign && figure.value > 0 ? "+" : "") + shown(Number(figure.value), figure.dataset.unit, Number(figure.dataset.more ?? 0));
  }
}

export function wireUnits(changed = () => {}) {
  const choices = document.getElementById("units");
  if (choices) {
    choices.closest("details").hidden = false;
    fillUnitChoices(choices, () => (paint(), changed()));
  }
  paint();
}
