"""What the scale has to say of a whole session: the `charge` and `recovered` objects of the findings."""

from __future__ import annotations

from logger.measure.budget import COVERAGE_FACTOR, expanded
from logger.measure.charge_account import Segment
from logger.measure.platform import Episode
from logger.measure.weigher import SEEN, Weigher

FLOW_LEAST_S = 1.0


def charge_findings(weigher: Weigher) -> dict:
    """The charge; what could not be judged is None with a `why`."""
    account, setup = weigher.account, weigher.setup
    charged = [segment for segment in account.charging() if segment.on is not None]
    delivered = account.delivered_g()
    budget = account.budget() if charged else []
    episodes = [e for s in charged for e in s.stay.episodes[s.first_episode :]]
    low, high = setup.placard_low_g, setup.placard_high_g
    findings = {
        "target_g": setup.target_g,
        "placard_low_g": low,
        "placard_high_g": high,
        "delivered_g": delivered if charged else None,
        "uncertainty_g": expanded(budget) if charged else None,
        "coverage_factor": COVERAGE_FACTOR,
        "vented_g": account.vented_g,
        "hose_residue_g": account.hose.mass_g if charged else None,
        "within_placard": low <= delivered <= high if charged and low is not None and high is not None else None,
        "containers": [_container(segment, account.gross_now_g()) for segment in account.segments if segment.on],
        "stop_alert_t_s": weigher.stop.stop_t_s,
        "flow_ended_t_s": _last_end(episodes),
        "mean_flow_g_per_s": _mean_flow(episodes),
        "budget": [{"name": c.name, "u_g": c.u_g, "why": c.why} for c in budget],
    }
    if not charged:
        findings["why"] = "no refrigerant left a container on the platform towards the vehicle"
    return findings


def recovered_findings(weigher: Weigher) -> dict:
    """The recovery; mass None where no container gained any."""
    mass = weigher.account.recovered_g()
    if mass is None:
        return {"mass_g": None, "uncertainty_g": None, "why": "no container on the platform gained mass"}
    return {"mass_g": mass, "uncertainty_g": weigher.account.recovered_uncertainty_g()}


def scale_events(weigher: Weigher) -> list[dict]:
    """Everything that happened on the platform, oldest first; size_g as the kind means it."""
    return [
        {"t_s": h.t_s, "event": h.kind, "words": SEEN[h.kind], "size_g": h.size_g, "confidence": h.confidence}
        for h in sorted(weigher.happened, key=lambda h: h.t_s)
    ]


def _container(segment: Segment, now_g: float) -> dict:
    off = segment.off or segment.stay.off
    return {
        "on_t_s": segment.stay.on_t_s,
        "off_t_s": segment.stay.off_t_s,
        "gross_on_g": segment.on.gross_g,
        "gross_off_g": off.gross_g if off else now_g,
        "drawn_g": segment.drawn_g(now_g),
        "purpose": segment.purpose,
    }


def _last_end(episodes: list[Episode]) -> float | None:
    ends = [episode.ended_s for episode in episodes if episode.ended_s is not None]
    return ends[-1] if ends else None


def _mean_flow(episodes: list[Episode]) -> float | None:
    """Mass over time of the episodes that have ended."""
    ended = [e for e in episodes if e.after is not None and e.ended_s - e.begun_s > FLOW_LEAST_S]
    seconds = sum(e.ended_s - e.begun_s for e in ended)
    return sum(e.before.gross_g - e.after.gross_g for e in ended) / seconds if ended else None
