// Forms that change something: sent as JSON, answered in the form itself.
const TOLD_MS = 12_000;
let sessionId = null;

export function setSession(id) {
  sessionId = id;
}

export async function send(path, body, form) {
  const headers = { Accept: "application/json" };
  const options = body instanceof FormData ? { method: "POST", headers, body } : { method: "POST", headers: { ...headers, "Content-Type": "application/json" }, body: JSON.stringify(body) };
  try {
    const answer = await fetch(path, options);
    if (answer.ok) return await answer.json();
    const problem = await answer.json();
    say(form, problem.detail ?? problem.title);
    for (const { field } of problem.errors ?? []) form?.querySelector(`[name="${CSS.escape(field)}"]`)?.setAttribute("aria-invalid", "true");
  } catch {
    say(form, "The cart does not answer. Nothing was changed; try again.");
  }
  return null;
}

function say(form, words) {
  const place = form?.querySelector(".wrong") ?? document.getElementById("told");
  if (!place) return;
  place.textContent = words;
  if (place.id === "told") setTimeout(() => place.textContent === words && (place.textContent = ""), TOLD_MS);
}

export function wireForms(after = () => {}) {
  for (const form of document.querySelectorAll("form.deed")) form.addEventListener("submit", (event) => submit(event, form, after));
  for (const button of document.querySelectorAll("[data-opens]")) {
    button.addEventListener("click", () => open(button.dataset.opens));
  }
  for (const button of document.querySelectorAll("[data-shuts]")) {
    button.addEventListener("click", () => button.closest("dialog").close());
  }
}

function open(id) {
  const dialog = document.getElementById(id);
  for (const wrong of dialog.querySelectorAll(".wrong")) wrong.textContent = "";
  dialog.showModal();
}

function whereTo(form) {
  const action = form.dataset.action;
  return action ? `/api/sessions/${encodeURIComponent(sessionId)}/${action}` : form.getAttribute("action");
}

function fields(form, button) {
  const out = {};
  for (const [key, value] of new FormData(form)) if (String(value).trim()) out[key] = value;
  if (button?.name) out[button.name] = button.value;
  if (form.dataset.action !== "marks") return out;
  const detail = JSON.parse(button?.dataset.detail ?? "{}");
  for (const name of (button?.dataset.takes ?? (out.mark === "note" ? "text" : "")).split(" ")) if (name in out) detail[name] = out[name];
  return { mark: out.mark, detail };
}

async function submit(event, form, after) {
  event.preventDefault();
  const upload = form.querySelector("input[type=file]");
  say(form, "");
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  const answer = await send(whereTo(form), (await form.collect?.()) ?? (upload ? new FormData(form) : fields(form, event.submitter)), form);
  if (!answer) return;
  form.closest("dialog")?.close();
  if (form.id === "pair-form") location.assign("/");
  else if (upload || form.dataset.reloads !== undefined) location.reload();
  else form.reset();
  after(form, answer);
}
