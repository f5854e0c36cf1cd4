"""A charge plan in words for the technician, and as JSON for programs."""

from __future__ import annotations

from logger.measure.plan import Draw, Plan
from logger.quantities import format_both, format_mass

CAUTION = (
    "The vehicle's label and its maker's data come first. Gloves and glasses; crack the valve slowly; never warm a\n"
    "container above 52 °C. The weight decides, not the plan: stop when the scale, with the hose counted, says so."
)


def plan_as_text(plan: Plan, unit: str) -> str:
    """Plain text of at most 120 columns, masses in grams and in `unit`."""
    lines = [*_head(plan, unit), ""]
    for place, draw in enumerate(plan.draws, 1):
        lines += [*_share(place, draw, draw is plan.draws[-1], unit), ""]
    return "\n".join([*lines, *_notes(plan, unit), CAUTION])


def plan_as_json(plan: Plan) -> dict:
    """The plan in grams; `containers` in the order of use, `given` counting from 1 as they were named."""
    return {
        "target_g": _g(plan.target_g),
        "placard_low_g": _g(plan.placard.low_g),
        "placard_high_g": _g(plan.placard.high_g),
        "tolerance_assumed": plan.placard.tolerance_assumed,
        "hose_allowance_g": _g(plan.hose_residue_g),
        "hose_if_liquid_g": _g(plan.hose_if_liquid_g),
        "to_draw_g": _g(plan.to_draw_g),
        "containers_needed": plan.containers_needed,
        "to_buy": plan.to_buy,
        "short_g": _g(plan.short_g),
        "short_if_heels_stay_g": _g(plan.short_heels_kept_g),
        "containers": [_draw_as_json(draw) for draw in plan.draws],
        "unused": list(plan.unused),
    }


def _draw_as_json(draw: Draw) -> dict:
    return {
        "given": draw.given,
        "nominal_g": _g(draw.container.nominal_g),
        "holds_g": _g(draw.container.holds_g),
        "draw_g": _g(draw.draw_g),
        "draw_if_heels_stay_g": _g(draw.draw_heels_kept_g),
        "gross_start_g": _g(draw.start_gross_g),
        "gross_stop_g": _g(draw.stop_gross_g),
        "heel_g": _g(draw.heel_g),
        "left_g": _g(draw.left_g),
        "emptied": draw.emptied,
    }


def _g(mass_g: float | None) -> float | None:
    return None if mass_g is None else round(mass_g, 2)


def _head(plan: Plan, unit: str) -> list[str]:
    low, high = format_both(plan.placard.low_g, unit), format_both(plan.placard.high_g, unit)
    lines = [f"Charge      {format_both(plan.target_g, unit)}", f"Label       {low} to {high}"]
    if plan.placard.tolerance_assumed:
        lines[-1] += "; it gives one amount, ±15 g is assumed"
    if plan.hose_if_liquid_g:
        lines.append(
            f"Hose        keeps about {format_mass(plan.hose_residue_g)} as vapour, drawn on top; "
            f"{format_mass(plan.hose_if_liquid_g)} if it ends full of liquid"
        )
    containers = f"{plan.containers_needed} container{'s' if plan.containers_needed > 1 else ''}"
    return [*lines, f"To draw     {format_both(plan.to_draw_g, unit)} from {containers}"]


def _share(place: int, draw: Draw, last: bool, unit: str) -> list[str]:
    """What to do with one container. One that is not the last is drawn until nothing more comes."""
    state = "part-used, holds" if draw.container.part_used else "full,"
    lines = [f"{place}. container {draw.given} as given: {state} {format_both(draw.container.holds_g, unit)}"]
    if draw.draw_g < 0.05:
        return [*lines, "   at hand in case those before it keep their vapour", *_heel_share(draw, unit)]
    if draw.emptied:
        lines.append(f"   draw all of it, by its label {format_both(draw.draw_g, unit)}")
    else:
        lines.append(f"   stop after {format_both(draw.draw_g, unit)} drawn")
    if draw.stop_gross_g is not None:
        verb = "near" if draw.emptied else "at"
        lines.append(f"   scale: from {format_mass(draw.start_gross_g)}, stop {verb} {format_mass(draw.stop_gross_g)}")
    if last and not draw.emptied:
        lines += _heel_share(draw, unit)
        lines.append(f"   left in it {format_both(draw.left_g, unit)}")
    return lines


def _heel_share(draw: Draw, unit: str) -> list[str]:
    if draw.draw_heels_kept_g - draw.draw_g < 0.05:
        return []
    return [f"   up to {format_both(draw.draw_heels_kept_g, unit)} if those before it keep their vapour (below)"]


def _notes(plan: Plan, unit: str) -> list[str]:
    notes = []
    if plan.to_buy:
        more = "one more" if plan.to_buy == 1 else f"{plan.to_buy} more"
        if plan.short_g:
            notes.append(f"Short by {format_both(plan.short_g, unit)} by the labels.")
        kept = format_both(plan.short_heels_kept_g, unit)
        notes.append(f"Short by {kept} with the vapour that stays in each: have {more} like the last at hand.")
    if plan.unused:
        names = ", ".join(map(str, plan.unused))
        notes.append(f"Not needed: container{'s' if len(plan.unused) > 1 else ''} {names} as given.")
    emptied = [draw for draw in plan.draws if draw.emptied]
    if emptied:
        notes += [
            f"An emptied container still holds vapour, about {format_both(emptied[0].heel_g, unit)} here at 25 °C.",
            "What it kept is drawn from the next: go by what was weighed out of it, never by its label.",
        ]
    return [*notes, ""] if notes else []
