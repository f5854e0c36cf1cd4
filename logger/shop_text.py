"""The review of all sessions in plain words, for a terminal."""

from __future__ import annotations

from logger.findings_text import clock


def shop_as_text(found: dict) -> str:
    """What `shop_review` gives, a part a paragraph; parts that have nothing to say are left out."""
    parts = (
        [f"{found['sessions']} session{'s' if found['sessions'] != 1 else ''}"],
        _charge_error(found["charge_error"]),
        _lags(found["stop_lag"]),
        _drift(found["scale"]),
        [f"{stage.replace('_', ' '):<15} {_spread(row)}" for stage, row in found["stages"].items()],
        [f"{name:<26} {_counts(outcomes)}" for name, outcomes in found["criteria"].items()],
        [line for vehicle in found["repeat_vehicles"] for line in _vehicle(vehicle)],
    )
    return "\n\n".join("\n".join(lines) for lines in parts if lines)


def _charge_error(chart: dict | None) -> list[str]:
    if chart is None:
        return []
    provisional = ", provisional: few charges yet" if chart["provisional"] else ""
    lines = [
        f"Charge error  mean {chart['mean']:+.1f} g, control limits {chart['lower']:+.1f} to {chart['upper']:+.1f} g"
        f" over {len(chart['values'])} charges (individuals, ISO 7870-2{provisional})"
    ]
    outside = [f"{chart['session_ids'][k]} ({chart['values'][k]:+.1f} g)" for k in chart["outside"]]
    return lines + ([f"  outside: {', '.join(outside)}"] if outside else [])


def _lags(lags: dict) -> list[str]:
    return [
        f"Stop lag      {name}: {row['why']}"
        if row["lag_s"] is None
        else f"Stop lag      {name}: {row['lag_s']:.1f} s ± {row['spread_s']:.1f} s over {row['fills']} fills"
        for name, row in lags.items()
    ]


def _drift(scale: dict) -> list[str]:
    lines = [f"Scale drifted in {', '.join(scale['drifted_in'])}"] if scale["drifted_in"] else []
    if scale["checks"]:
        last = scale["checks"][-1]
        error_g = last["shown_g"] - last["nominal_g"]
        lines.append(
            f"Check weight  {len(scale['checks'])} kept, the last of {last['nominal_g']:g} g {error_g:+.1f} g off: "
            f"{last['outcome']}, {last['at_utc'][:10]}"
        )
    return lines


def _spread(row: dict) -> str:
    low, middle, high = (clock(row[key]) for key in ("lower_quartile_s", "median_s", "upper_quartile_s"))
    return f"{middle:>8} (half of {row['sessions']} between {low} and {high})"


def _counts(outcomes: dict[str, int]) -> str:
    return ", ".join(f"{count} {outcome}" for outcome, count in outcomes.items())


def _vehicle(vehicle: dict) -> list[str]:
    lines = [f"{vehicle['vehicle']} came {len(vehicle['session_ids'])} times"]
    return lines + [f"  {loss['from']} to {loss['to']}: {loss['words']}" for loss in vehicle["losses"]]
