"""What if: the same readings under another target, lag or limit, and what would have come out otherwise.

The readings stay what they were: who heard the alert earlier would have closed earlier, and that no replay can show.
What differs is when alerts would have come, and how the session would have been judged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

SESSION_KEYS = ("target_g", "close_lag_s", "hose_volume_ml", "system_volume_ml", "container_nominal_g", "altitude_m")
SMALLEST_SHARE = 1e-9


class WhatIfError(ValueError):
    """A change that cannot be made: one line that names it and the mend."""


def parse_changes(texts: Sequence[str]) -> dict[str, float]:
    """`KEY=NUMBER` texts as key → number. Raises WhatIfError."""
    changes = {}
    for text in texts:
        key, equals, value = text.partition("=")
        try:
            changes[key.strip()] = float(value)
        except ValueError:
            equals = ""
        if not equals:
            raise WhatIfError(f"{text!r}: write KEY=NUMBER, for instance close_lag_s=2.5")
    return changes


def split_changes(changes: Mapping[str, float], limits: Sequence[str]) -> tuple[dict[str, float], dict[str, float]]:
    """The changes to the session's description and those to the cart's limits. Raises WhatIfError."""
    unknown = [key for key in changes if key not in (*SESSION_KEYS, *limits)]
    if unknown:
        raise WhatIfError(
            f"{unknown[0]}: nothing to change by that name; there are {', '.join((*SESSION_KEYS, *limits))}"
        )
    session = {key: value for key, value in changes.items() if key in SESSION_KEYS}
    return session, {key: value for key, value in changes.items() if key not in SESSION_KEYS}


def differences(was: Mapping, would_be: Mapping) -> list[dict]:
    """What differs between two findings of the same readings, each as {"what", "was", "would_be"}."""
    found = _numbers(was, would_be)
    found += _alerts(was, would_be)
    return found + _outcomes(was, would_be)


def _numbers(was: Mapping, would_be: Mapping) -> list[dict]:
    found = []
    for part in ("charge", "recovered", "evacuation"):
        before, after = was.get(part) or {}, would_be.get(part) or {}
        for key, value in before.items():
            other = after.get(key)
            if isinstance(value, (list, dict)) or isinstance(other, (list, dict)) or _same(value, other):
                continue
            found.append({"what": f"{part}.{key}", "was": value, "would_be": other})
    return found


def _same(a: object, b: object) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= SMALLEST_SHARE * max(abs(a), abs(b))
    return a == b


def _alerts(was: Mapping, would_be: Mapping) -> list[dict]:
    """Alerts by code and turn: come, gone, or at another time."""
    before, after = _times(was), _times(would_be)
    places = list(dict.fromkeys([*before, *after]))
    return [
        {"what": _named(*place), "was": before.get(place), "would_be": after.get(place)}
        for place in places
        if before.get(place) != after.get(place)
    ]


def _named(code: str, turn: int) -> str:
    return f"alert {code}" if turn == 1 else f"alert {code} ({turn})"


def _times(findings: Mapping) -> dict[tuple[str, int], float]:
    seen: dict[tuple[str, int], float] = {}
    for alert in findings.get("alerts") or []:
        turn = sum(code == alert["code"] for code, _ in seen) + 1
        seen[(alert["code"], turn)] = alert["t_s"]
    return seen


def _outcomes(was: Mapping, would_be: Mapping) -> list[dict]:
    before, after = ({r["criterion"]: r["outcome"] for r in f.get("review") or []} for f in (was, would_be))
    return [
        {"what": f"review: {name}", "was": before.get(name), "would_be": after.get(name)}
        for name in dict.fromkeys([*before, *after])
        if before.get(name) != after.get(name)
    ]
