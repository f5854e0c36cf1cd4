// One container: what the scale shows of it now, beside the ledger.
import { wireForms } from "./deeds.js";
import { wireUnits } from "./paint.js";
import { withUnit } from "./units.js";

function weighed(form, found) {
  if (form.id !== "weigh-form") return;
  const apart = found.discrepancy_g;
  const beside = apart === null ? found.why : `${withUnit(found.left_by_scale_g, "mass")} in it by the scale, ${withUnit(Math.abs(apart), "mass")} ${apart < 0 ? "less" : "more"} than the ledger says.`;
  document.getElementById("weighed").textContent = beside;
}

wireForms(weighed);
wireUnits();
