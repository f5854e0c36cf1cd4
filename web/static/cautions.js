// What to mind at the stage at hand, and the stage the readings suggest, with one touch to agree.
import { words } from "./before.js";
import { send } from "./deeds.js";

const $ = (id) => document.getElementById(id);

export class Conduct {
  constructor(names) {
    this.names = names;
    $("suggest-yes")?.addEventListener("click", () => this.agree());
  }

  show(now) {
    this.session = now.session_id;
    this.suggest(now.stage_suggested);
    const key = [now.session_id, now.stage, now.refrigerant].join();
    if (this.key !== undefined && key !== this.key) this.load(now.stage), this.vehicle();
    this.key = key;
  }

  suggest(found) {
    const words = found ? `${this.names[found.stage] ?? found.stage}?` : "";
    $("suggest").hidden = !found;
    this.stage = found?.stage;
    if ($("suggest-stage").textContent !== words) $("suggest-stage").textContent = words;
    if (found && $("suggest-why").textContent !== found.why) $("suggest-why").textContent = found.why;
  }

  async agree() {
    if (await send(`/api/sessions/${encodeURIComponent(this.session)}/marks`, { mark: "stage", detail: { stage: this.stage } })) $("suggest").hidden = true;
  }

  // What is known of the open session's vehicle from before.
  async vehicle() {
    const page = `/sessions/${encodeURIComponent(this.session)}`;
    const answer = this.session ? await fetch("/api" + page).catch(() => null) : null;
    const said = answer?.ok ? words(await answer.json()) : "";
    $("before").hidden = !said;
    $("before-said").textContent = said;
    $("before-more").href = page + "#before";
  }

  async load(stage) {
    const answer = await fetch("/api/cautions?stage=" + encodeURIComponent(stage)).catch(() => null);
    if (!answer?.ok) return;
    const found = await answer.json();
    $("cautions").replaceChildren(...found.cautions.map(({ words }) => Object.assign(document.createElement("li"), { textContent: words })));
    $("cautions-title").textContent = stage ? `Mind: ${(this.names[stage] ?? stage).toLowerCase()}` : "Mind";
  }
}
