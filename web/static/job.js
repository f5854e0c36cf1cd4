// Notes of the job: only what was changed is sent; the VIN is checked while it is typed; photos shrink before they go.
import { wireBefore } from "./before.js";

const LONGEST_PX = 1800;
const PHOTO_QUALITY = 0.82;

export function wireJob() {
  const form = document.getElementById("job-form");
  for (const input of document.querySelectorAll("input[data-keeps]")) keep(input);
  if (!form) return;
  const parts = JSON.stringify(partsOf(form));
  form.collect = () => changed(form, parts);
  wireBefore(form, document.getElementById("charts").dataset.session);
  form.elements.vin.addEventListener("input", (event) => vinSoon(event.target));
  form.addEventListener("change", (event) => event.target.name === "part" && hint(event.target));
  const more = document.getElementById("more-parts");
  more.hidden = false;
  more.addEventListener("click", () => another(more));
  const photo = document.getElementById("photo-form");
  photo.collect = () => small(photo);
  if (location.hash === "#job") document.getElementById("job-edit").open = true;
}

// Names that are the same on every job of this phone.
function keep(input) {
  if (!input.value) input.value = localStorage.getItem("name." + input.name) ?? "";
  input.addEventListener("change", () => localStorage.setItem("name." + input.name, input.value));
}

function partsOf(form) {
  return [...form.querySelectorAll(".part")].map((row) => ({ part: row.querySelector("select").value, oil_ml: row.querySelector("[name=oil_ml]").value, note: row.querySelector("[name=part_note]").value })).filter(({ part }) => part);
}

function changed(form, parts) {
  const out = {};
  for (const field of form.elements) {
    if (!field.name || field.closest(".part")) continue;
    const before = field.tagName === "SELECT" ? ([...field.options].find((o) => o.defaultSelected) ?? field.options[0]).value : field.defaultValue;
    if (field.value !== before) out[field.name] = field.value;
  }
  const now = partsOf(form);
  return JSON.stringify(now) === parts ? out : { ...out, parts: now };
}

function hint(select) {
  select.closest(".part").querySelector(".hint").textContent = select.selectedOptions[0]?.dataset.hint ?? "";
}

let made = 0;
function another(button) {
  const rows = document.querySelectorAll("#parts .part");
  const row = rows[rows.length - 1].cloneNode(true);
  made += 1;
  for (const field of row.querySelectorAll("select, input")) {
    field.value = "";
    const label = row.querySelector(`label[for="${field.id}"]`);
    if (!label) continue;
    field.id += "-" + made;
    label.htmlFor = field.id;
  }
  row.querySelector(".hint").textContent = "";
  button.parentElement.before(row);
  row.querySelector("select").focus();
}

let waiting = 0;
function vinSoon(input) {
  clearTimeout(waiting);
  waiting = setTimeout(() => readVin(input), 250);
}

async function readVin(input) {
  const said = document.getElementById("vin-said");
  const typed = input.value.replace(/[\s-]/g, "").length;
  said.classList.remove("bad");
  if (typed < 17) return (said.textContent = typed ? `${typed} of 17 characters` : "");
  const answer = await fetch("/api/vin", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ vin: input.value }) }).catch(() => null);
  if (!answer) return;
  const body = await answer.json();
  said.classList.toggle("bad", !answer.ok);
  said.textContent = !answer.ok ? body.detail : body.check_digit === "matches" ? `Check digit ${body.vin[8]} matches.` : "17 characters; its region has no check digit.";
}

// A photo as large as a placard needs to be read, and without the place where it was taken.
async function small(form) {
  const body = new FormData(form);
  const file = body.get("photo");
  const drawn = await createImageBitmap(file).catch(() => null);
  if (!drawn) return body;
  const scale = Math.min(1, LONGEST_PX / Math.max(drawn.width, drawn.height));
  const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(drawn.width * scale), height: Math.round(drawn.height * scale) });
  canvas.getContext("2d").drawImage(drawn, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", PHOTO_QUALITY));
  if (blob) body.set("photo", blob, "photo.jpg");
  return body;
}
