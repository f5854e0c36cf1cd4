// Whether a vehicle was here before, while its VIN or registration is typed.
const NAMES = ["vin", "registration"];

export function wireBefore(form, session = null) {
  const said = form?.querySelector("output.before");
  if (!said) return;
  let waiting = 0;
  const soon = () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => look(form, said, session), 300);
  };
  for (const name of NAMES) form.elements[name]?.addEventListener("input", soon);
  form.addEventListener("reset", soon);
}

async function look(form, said, session) {
  const typed = Object.fromEntries(NAMES.map((name) => [name, form.elements[name]?.value.trim() ?? ""]));
  if (!typed.vin && !typed.registration) return (said.textContent = "");
  const query = new URLSearchParams(session ? { ...typed, session } : typed);
  const answer = await fetch("/api/visits?" + query).catch(() => null);
  if (answer?.ok) said.textContent = words(await answer.json());
}

// One line of what is known, nothing of a vehicle that is new.
export function words({ before }) {
  return before?.visits.length ? before.words.join(" ") : "";
}
