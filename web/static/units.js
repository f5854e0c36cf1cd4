// Every quantity reaches the page in one unit; each reader chooses the one it is shown in.
const GROUPS = {
  mass: { name: "Mass", units: { g: [1, 0, 0], oz: [1 / 28.349523125, 0, 1], lb: [1 / 453.59237, 0, 2] } },
  pressure: { name: "Pressure", units: { kPa: [1, 0, 0], bar: [0.01, 0, 2], psi: [1 / 6.894757293168, 0, 0] } },
  temperature: { name: "Temperature", units: { "°C": [1, 0, 1], "°F": [1.8, 32, 1] } },
  vacuum: { name: "Vacuum", units: { Pa: [1, 0, 0], micron: [1 / 0.133322387415, 0, 0], mbar: [0.01, 0, 3] } },
};
const OF_UNIT = { g: "mass", kPa: "pressure", "°C": "temperature", Pa: "vacuum" };
export const NONE = "–";

export function chosen(group) {
  const kept = localStorage.getItem("unit." + group);
  return kept in GROUPS[group].units ? kept : Object.keys(GROUPS[group].units)[0];
}

export function choose(group, unit) {
  localStorage.setItem("unit." + group, unit);
}

export function groupOf(unit) {
  return OF_UNIT[unit];
}

export function convert(value, group) {
  if (group === "difference") return chosen("temperature") === "°F" ? value * 1.8 : value;
  const [factor, offset] = GROUPS[group].units[chosen(group)];
  return value * factor + offset;
}

function written(value, digits) {
  const text = value.toFixed(digits);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

function vacuumDigits(value) {
  const size = value > 0 ? Math.floor(Math.log10(value)) : 0;
  return Math.max(0, Math.min(3, 1 - size));
}

export function number(value, group, more = 0) {
  if (value === null || value === undefined) return NONE;
  const shown = convert(value, group);
  if (group === "difference") return written(shown, 1);
  const digits = group === "vacuum" ? vacuumDigits(shown) : GROUPS[group].units[chosen(group)][2];
  return written(shown, digits + more);
}

export function withUnit(value, group, more = 0) {
  const text = number(value, group, more);
  return text === NONE ? text : text + " " + chosen(group);
}

// A channel's reading: its unit says to which group it belongs, others are shown as they come.
export function reading(channel) {
  if (!channel || channel.value === null) return NONE;
  const group = OF_UNIT[channel.unit];
  return group ? withUnit(channel.value, group) : written(channel.value, 0) + " " + channel.unit;
}

export function clock(seconds) {
  if (seconds === null || seconds === undefined) return NONE;
  const whole = Math.max(0, Math.round(seconds));
  const tail = String(whole % 60).padStart(2, "0");
  const minutes = Math.floor(whole / 60);
  return minutes < 60 ? minutes + ":" + tail : Math.floor(minutes / 60) + ":" + String(minutes % 60).padStart(2, "0") + ":" + tail;
}

export function age(seconds) {
  if (seconds === null || seconds === undefined) return "";
  return seconds < 10 ? seconds.toFixed(1) + " s" : seconds < 100 ? Math.round(seconds) + " s" : clock(seconds);
}

export function fillUnitChoices(fieldset, changed) {
  for (const [group, { name, units }] of Object.entries(GROUPS)) {
    const row = document.createElement("div");
    row.className = "unitrow";
    row.setAttribute("role", "radiogroup");
    row.setAttribute("aria-label", name);
    row.append(Object.assign(document.createElement("span"), { textContent: name }));
    for (const unit of Object.keys(units)) row.append(choice(group, unit, changed));
    fieldset.append(row);
  }
}

function choice(group, unit, changed) {
  const label = document.createElement("label");
  const input = Object.assign(document.createElement("input"), { type: "radio", name: "unit-" + group, checked: chosen(group) === unit });
  input.addEventListener("change", () => (choose(group, unit), changed()));
  label.append(input, " " + unit);
  return label;
}
