"""What to write on the vehicle's label and into its file: what was noted, and nothing else.

Refrigerant and charge are what SAE J639 has on the label (from memory); 40 CFR 82 subpart G, appendices C and D, ask
more of the label of a retrofit: name and address of technician and company, date, trade name, ASHRAE number, charge,
the oil's type, maker and amount, and whether the refrigerant burns.
"""

from __future__ import annotations

from logger.measure.refrigerants import UnknownRefrigerant, refrigerant
from logger.record.report_data import ReportData
from logger.record.report_fit import cut
from logger.record.report_units import Units
from logger.session.cautions import FLAMMABLE

RETROFIT = (
    "Only what was noted stands here. After a retrofit the law wants more on the label, such as the trade name and the "
    "maker of the oil: 40 CFR 82 subpart G, appendices C and D."
)

LONGEST = 240


def label_rows(data: ReportData, units: Units) -> list[tuple[str, str]]:
    """Heading and text; none where nothing was charged."""
    if not data.charged:
        return []
    job = data.job
    oil_ml = sum(part.get("oil_ml") or 0.0 for part in job.get("parts") or [])
    oil = [units.volume_text(oil_ml) if oil_ml else "", str(job.get("oil_type") or "")]
    found = [
        ("Date", (data.session.get("started_utc") or "")[:10]),
        ("Refrigerant", _refrigerant(data.setup.get("refrigerant") or "")),
        ("Charge", _charge(data, units)),
        ("Oil added" if oil_ml else "Kind of oil", " ".join(text for text in oil if text)),
        ("Dye added", units.volume_text(job["dye_ml"]) if job.get("dye_ml") else ""),
        ("Technician", ", certificate ".join(x for x in (job.get("technician"), job.get("certificate")) if x)),
        ("Company", str(data.setup.get("shop") or "")),
    ]
    return [(head, cut(text, LONGEST, " …")) for head, text in found if text]


def _refrigerant(number: str) -> str:
    try:
        safety = refrigerant(number).safety_class
    except UnknownRefrigerant:
        return number
    return f"{number}, flammable (ASHRAE 34 class {safety})" if safety in FLAMMABLE else number


def _charge(data: ReportData, units: Units) -> str:
    """A charge into an emptied circuit is the whole of it; into another it came on top of what was there."""
    mass = units.mass_text(data.charge["delivered_g"])
    emptied = (data.findings.get("evacuation") or {}).get("lowest_pa") is not None
    return mass if emptied else f"{mass} added to what was there, which was not weighed"
