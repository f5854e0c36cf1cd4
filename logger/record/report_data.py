"""What a report is made of, taken from the store: nothing of it depends on when or where it is made."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.measure.marks import Mark
from logger.measure.refrigerants import UnknownRefrigerant
from logger.measure.saturation import Saturation, saturation
from logger.record.reader import StoreReader
from logger.record.recorded import Recording
from logger.record.visits import before_session
from logger.session.container_stays import container_stays
from logger.session.pipeline import Pipeline
from logger.session.review import review
from logger.session.setup import SessionSetup, channel_infos

POINTS = 700
PLOTTED = ("scale", "low_side", "high_side", "vacuum")
Series = dict[str, list[float]]


@dataclass(frozen=True, slots=True)
class ReportData:
    """session: the store's row with `setup`, `channels`, `decisions`. series: channel → {"t_s", "low", "high", "mean"}.

    weight: the scale once more, only over the charge and finer; empty where nothing was charged. labels: when a
    container was placed → the label told for it. before: earlier visits of the vehicle, or None.
    """

    session: dict
    findings: dict
    series: dict[str, Series]
    weight: Series = field(default_factory=dict)
    curve: Saturation | None = None
    labels: dict[float, str] = field(default_factory=dict)
    before: dict | None = None

    @property
    def setup(self) -> dict:
        return self.session["setup"]

    @property
    def charge(self) -> dict:
        return self.findings.get("charge") or {}

    @property
    def job(self) -> dict:
        return self.findings.get("job") or {}

    @property
    def charged(self) -> bool:
        return self.charge.get("delivered_g") is not None


def report_data(reader: StoreReader, session_id: str) -> ReportData:
    """Everything of one session, judged by today's criteria. Raises StoreError, SetupError."""
    session = reader.session(session_id)
    findings = reader.findings(session_id) or _judged(reader.recording(session_id))
    findings = {**findings, "review": review(findings)}
    channels = [name for name in PLOTTED if name in session["channels"]]
    series = {name: reader.readings(session_id, name, points=POINTS) for name in channels}
    window = charge_window(findings)
    weight = reader.readings(session_id, "scale", *window, POINTS) if window and "scale" in series else {}
    stays = container_stays(findings, reader.marks(session_id))
    return ReportData(
        session,
        findings,
        series,
        weight,
        _curve(session["setup"].get("refrigerant") or ""),
        {stay.on_t_s: stay.label for stay in stays if stay.label},
        before_session(reader, session, findings)["before"],
    )


def charge_window(findings: dict) -> tuple[float, float] | None:
    """From a little before the first charging flow to a little after the last; None where nothing was charged."""
    charge = findings.get("charge") or {}
    if charge.get("delivered_g") is None:
        return None
    begun = [e["t_s"] for e in findings.get("scale_events") or [] if e["event"] == "flow_begun"]
    stays = [c for c in charge.get("containers") or [] if c.get("purpose", "charge") == "charge"]
    flows = [t for t in begun if stays and t >= stays[0]["on_t_s"]]
    first = flows[0] if flows else stays[0]["on_t_s"]
    ended = charge.get("flow_ended_t_s")
    return max(first - 60.0, 0.0), (findings.get("duration_s") or 0.0) if ended is None else ended + 60.0


def _judged(recording: Recording) -> dict:
    """The findings of a session that has none yet."""
    setup = SessionSetup.from_json(recording.session)
    pipeline = Pipeline(setup, channel_infos(recording.channels))
    for item in recording.batches():
        if isinstance(item, Mark):
            pipeline.mark(item)
        else:
            pipeline.feed(item)
    return pipeline.findings()


def _curve(number: str) -> Saturation | None:
    try:
        return saturation(number)
    except UnknownRefrigerant:
        return None
