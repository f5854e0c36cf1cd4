"""The review of one session: every criterion that applies, judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.session.criteria import CRITERIA, Criterion


def review(findings: Mapping, criteria: Sequence[Criterion] = CRITERIA) -> list[dict]:
    """The `review` list of the findings: criterion, measured, unit, limit, outcome, source, applies_when, t_s, why."""
    return [_row(criterion, findings) for criterion in criteria if criterion.applies(findings)]


def overall(rows: Sequence[Mapping]) -> str:
    """The worst outcome that decides: "fail", then "marginal", then "pass"; "not-judged" where nothing was."""
    outcomes = {row["outcome"] for row in rows}
    return next((o for o in ("fail", "marginal", "pass") if o in outcomes), "not-judged")


def _row(criterion: Criterion, findings: Mapping) -> dict:
    judged = criterion.judge(findings)
    return {
        "criterion": criterion.name,
        "measured": judged.measured,
        "unit": criterion.unit,
        "limit": criterion.limit(findings),
        "outcome": judged.outcome,
        "source": criterion.source,
        "applies_when": criterion.applies_when,
        "t_s": judged.t_s,
        "why": judged.why,
    }
