"""The findings of a session in plain words, for a terminal."""

from __future__ import annotations

from logger.session.events import Event


def findings_as_text(findings: dict) -> str:
    """Charge, vacuum, performance, alerts and review, a line or a few each; what was not judged says why."""
    head = f"Session {findings['session_id']}, {findings['refrigerant']}, {clock(findings['duration_s'])}"
    parts = [
        [head],
        charge_lines(findings.get("charge")),
        _static(findings.get("static")),
        _recovered(findings.get("recovered"), findings.get("recovery_rest")),
        _vacuum(findings.get("evacuation"), findings.get("vacuum_hold"), findings.get("vacuum_hold_why")),
        _nitrogen(findings.get("pressure_hold")),
        _performance(findings.get("performance")),
        alert_lines(findings.get("alerts")),
        review_lines(findings.get("review")),
    ]
    return "\n\n".join("\n".join(lines) for lines in parts if lines)


def charge_lines(charge: dict | None) -> list[str]:
    """Target, delivered mass with its uncertainty, where the stop came, container by container."""
    if not charge:
        return []
    if charge.get("delivered_g") is None:
        return [f"Charge      not judged: {charge.get('why') or 'no reason given'}"]
    lines = [f"Delivered   {charge['delivered_g']:.1f} g{_plus_minus(charge.get('uncertainty_g'))}"]
    if charge.get("target_g") is not None:
        error = charge["delivered_g"] - charge["target_g"]
        lines.insert(0, f"Target      {charge['target_g']:.1f} g{_range(charge)}")
        lines[1] += f", {error:+.1f} g off target{_within(charge.get('within_placard'))}"
    for i, container in enumerate(charge.get("containers") or [], 1):
        lines.append(f"  container {i}: {_container(container)}")
    if charge.get("stop_alert_t_s") is not None:
        lines.append(f"Stop called at {clock(charge['stop_alert_t_s'])}")
        if charge.get("flow_ended_t_s") is not None:
            lines[-1] += f", flow ended {charge['flow_ended_t_s'] - charge['stop_alert_t_s']:.1f} s later"
    return lines


def alert_lines(alerts: list[dict] | None) -> list[str]:
    """One line an alert, with its time in the session."""
    return [f"{clock(a['t_s']):>8}  {a['severity']:<8} {a['code']}: {a['message']}" for a in alerts or []]


def told(event: Event) -> str:
    """One event as it happens."""
    data = event.data
    if event.kind == "alert":
        return f"{clock(event.t_s):>8}  {data['severity']:<8} {data['code']} {data['state']}: {data['message']}"
    what = data.get("stage") or data.get("session_id") or ""
    return f"{clock(event.t_s):>8}  {event.kind:<8} {what}".rstrip()


def failed(findings: dict) -> bool:
    """Whether a criterion of the review failed."""
    return any(row["outcome"] == "fail" for row in findings.get("review") or [])


def clock(t_s: float) -> str:
    """Session time as h:mm:ss or m:ss."""
    minutes, seconds = divmod(round(t_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def _recovered(recovered: dict | None, rest: dict | None) -> list[str]:
    if not recovered or recovered.get("mass_g") is None:
        return []
    line = f"Recovered   {recovered['mass_g']:.1f} g{_plus_minus(recovered.get('uncertainty_g'))}"
    return [line, *([f"            {rest['why']}"] if rest and rest.get("why") else [])]


def _static(static: dict | None) -> list[str]:
    if not static:
        return []
    return [f"As found    {static['pressure_kpa']:.0f} kPa (gauge), {static['words']}"]


def _vacuum(evacuation: dict | None, holds: list[dict] | None, why_none: str | None) -> list[str]:
    lines = []
    if evacuation and evacuation.get("lowest_pa") is not None:
        plateau = ", hung a while where water boils" if evacuation.get("water_plateau") else ""
        lines.append(
            f"Evacuation  down to {evacuation['lowest_pa']:.0f} Pa, "
            f"{clock(evacuation.get('seconds_below_67_pa') or 0)} below 67 Pa{plateau}"
        )
    if why_none:
        lines.append(f"Hold        not judged: {why_none}")
    for hold in holds or []:
        lasted = clock(hold["end_t_s"] - hold["start_t_s"])
        why = f": {hold['why']}" if hold.get("why") else ""
        lines.append(f"Hold        {hold['verdict']} after {lasted}{why}")
    return lines


def _nitrogen(holds: list[dict] | None) -> list[str]:
    lines = []
    for hold in holds or []:
        lasted = clock(hold["end_t_s"] - hold["start_t_s"])
        lines.append(f"Pressure    {hold['verdict']} after {lasted} under nitrogen: {hold['why']}")
        if hold.get("leak_g_per_year"):
            low, high = hold["leak_g_per_year"]
            lines.append(f"            {low:.2g} to {high:.2g} g/year {hold['leak_why']}")
    return lines


def _performance(performance: dict | None) -> list[str]:
    if not performance:
        return []
    names = {
        "vent_temp_c": ("vent", "°C"),
        "ambient_temp_c": ("ambient", "°C"),
        "low_side_kpa": ("low side", "kPa"),
        "high_side_kpa": ("high side", "kPa"),
        "superheat_k": ("superheat", "K"),
        "subcooling_k": ("subcooling", "K"),
    }
    seen = [f"{name} {performance[key]:.1f} {unit}" for key, (name, unit) in names.items() if _known(performance, key)]
    lines = [f"Performance {', '.join(seen)}"] if seen else []
    for row in performance.get("patterns") or []:
        lines.append(f"  looks like {row['pattern']}: {'; '.join(row.get('evidence') or [])}")
    return lines


def review_lines(review: list[dict] | None) -> list[str]:
    """One line a criterion: outcome, what was measured, the limit."""
    return [
        f"{row['outcome']:<10}  {row['criterion']}: {_measured(row)}, limit {row.get('limit') or 'none'}{_why(row)}"
        for row in review or []
    ]


def before_lines(known: dict) -> list[str]:
    """What is known of the vehicle from before: a line, and one with the masses where it was here."""
    if known["before"] is None:
        return [f"Before      not judged: {known['before_why']}"]
    first, *more = known["before"]["words"]
    return [f"Before      {first}"] + ([f"            {' '.join(more)}"] if more else [])


def _why(row: dict) -> str:
    """The reason, where there is something to explain and it is not said already."""
    told = row.get("why") and row["outcome"] != "pass" and row.get("measured") is not None
    return f" ({row['why']})" if told else ""


def _measured(row: dict) -> str:
    if row.get("measured") is None:
        return row.get("why") or "no value"
    value = row["measured"]
    return f"{value:.4g} {row.get('unit') or ''}".rstrip() if isinstance(value, (int, float)) else str(value)


def _known(data: dict, key: str) -> bool:
    return data.get(key) is not None


def _g(mass_g: float | None) -> str:
    return "unknown" if mass_g is None else f"{mass_g:.1f} g"


def _container(container: dict) -> str:
    drawn = container.get("drawn_g")
    moved = f"took in {-drawn:.1f} g" if drawn is not None and drawn < 0 else f"drawn {_g(drawn)}"
    return f"{_g(container.get('gross_on_g'))} to {_g(container.get('gross_off_g'))}, {moved}"


def _plus_minus(uncertainty_g: float | None) -> str:
    return "" if uncertainty_g is None else f" ± {uncertainty_g:.1f} g (k = 2)"


def _range(charge: dict) -> str:
    low, high = charge.get("placard_low_g"), charge.get("placard_high_g")
    return "" if low is None or high is None else f" (label {low:.0f} to {high:.0f} g)"


def _within(within: bool | None) -> str:
    return {True: ", within the label", False: ", outside the label", None: ""}[within]
